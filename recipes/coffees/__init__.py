"""Coffees, roast lots and their rest windows."""
