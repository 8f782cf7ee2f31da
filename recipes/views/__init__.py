"""The pages of recipes: thin, the rules are in the actions."""
