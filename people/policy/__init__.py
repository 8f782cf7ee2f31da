"""The owner's policy: what the house allows."""
