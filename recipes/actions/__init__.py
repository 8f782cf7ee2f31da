"""One function for each change of a recipe's documents; every road calls the same ones."""
