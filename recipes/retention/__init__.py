"""What the coffee keeps back: by station and for the house, learnt from check shots."""
