"""Change requests: a shop lead's proposal with evidence, and the decision."""
