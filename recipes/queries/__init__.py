"""Questions about recipes that more than one caller asks."""
