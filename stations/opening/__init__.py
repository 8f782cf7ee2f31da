"""Opening checks: so many check shots of each slot within tolerance before the door opens."""
