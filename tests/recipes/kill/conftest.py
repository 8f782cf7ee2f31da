"""Publications are signed here; who runs them is the test's business."""

from tests.recipes.publishing.conftest import quiet

__all__ = ["quiet"]
