"""Permits need something published first."""

from tests.recipes.publishing.conftest import send

__all__ = ["send"]
