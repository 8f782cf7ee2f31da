"""Questions about the equipment that more than one caller asks."""
