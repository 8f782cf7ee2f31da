"""Permits need something published first."""

from tests.recipes.publishing.conftest import quiet, send

__all__ = ["quiet", "send"]
