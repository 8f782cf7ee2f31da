"""The recipe book: every approved recipe by coffee, to print and as PDF."""
