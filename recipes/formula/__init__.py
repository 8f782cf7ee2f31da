"""The registry of parameters, and what a formula says about each."""
