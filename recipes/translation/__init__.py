"""A formula translated into the control settings of stations, and back."""
