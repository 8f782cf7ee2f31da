"""The water of a site: tests, and what they mean for machine and cup."""
