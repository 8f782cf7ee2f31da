"""What is replaced ends what was published: the bar whose slots hold a version."""

from tests.bar import bar

__all__ = ["bar"]
