"""The pages of the equipment: thin, the rules are in the actions."""
