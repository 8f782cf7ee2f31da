"""What the history calls the changes of versions, and how it shows them."""

from audit.registry import register_content, register_subject
from audit.vocabulary import register as action
from recipes.versions.digest import version_content

VERSION_DRAFTED = action("version.drafted", "Drafted version")
VERSION_EDITED = action("version.edited", "Edited draft")
VERSION_SUBMITTED = action("version.submitted", "Submitted version")
VERSION_RETURNED = action("version.returned", "Returned version")
VERSION_COMMENTED = action("version.commented", "Commented on version")
VERSION_APPROVED = action("version.approved", "Approved version")
VERSION_SUPERSEDED = action("version.superseded", "Superseded version")
VERSION_WITHDRAWN = action("version.withdrawn", "Withdrew version")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("version", "Version", "recipes:version")
    register_content("version", version_content)
