"""Charts need shots of something published: the bar whose slots hold a version."""

from tests.bar import bar

__all__ = ["bar"]
