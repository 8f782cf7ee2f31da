"""Fixtures of recipes' tests; built through the real actions."""

import pytest

from recipes.coffees.models import Recipe
from recipes.versions.models import Version
from tests.cast import Cast
from tests.recipes import shelf


@pytest.fixture
def recipe(cast: Cast) -> Recipe:
    """A recipe without versions."""
    return shelf.make_recipe(cast)


@pytest.fixture
def draft(cast: Cast, recipe: Recipe) -> Version:
    """A complete draft of the head roaster's."""
    return shelf.make_draft(cast, recipe)


@pytest.fixture
def in_review(cast: Cast, recipe: Recipe) -> Version:
    """A version of the head roaster's, in review."""
    return shelf.make_in_review(cast, recipe)


@pytest.fixture
def approved(cast: Cast, recipe: Recipe) -> Version:
    """A version approved by the second roaster."""
    return shelf.make_approved(cast, recipe)
