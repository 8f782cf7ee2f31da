"""Whether versions, publications, permits and calibrations are still what was signed."""

from audit.registry import register_content
from recipes.permits.content import permit_content
from recipes.publishing.content import publication_content
from recipes.recalibration.content import calibration_content
from recipes.versions.digest import version_content


def register() -> None:
    """Called once, when the program starts."""
    register_content("version", version_content)
    register_content("publication", publication_content)
    register_content("permit", permit_content)
    register_content("re_translation", calibration_content)
