"""The history to take away: filtered as JSON Lines or CSV, whole as a bundle that proves itself."""
