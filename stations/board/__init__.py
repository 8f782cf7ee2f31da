"""The board: what every slot should hold and does hold, and what is left to do."""
