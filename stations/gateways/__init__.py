"""Programs that stand between the product and the machines of a site: enrolled, signed, listed."""
