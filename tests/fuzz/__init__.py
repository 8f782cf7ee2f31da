"""Whatever is given to the computing packages: a usable number, or the field named."""
