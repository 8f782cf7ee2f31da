"""One parameter of a recipe over time: across its versions, the sites, and the permits."""
