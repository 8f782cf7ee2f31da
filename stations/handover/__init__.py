"""Hand-over notes: what one shift leaves to the next, and who has read it."""
