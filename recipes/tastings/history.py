"""What the history calls the changes of tastings, and how it shows them."""

from audit.registry import register_subject
from audit.vocabulary import register as action
from recipes.tastings import evidence

TASTING_PLANNED = action("tasting.planned", "Planned tasting")
TASTING_ANSWERED = action("tasting.answered", "Recorded answers of tasting")
TASTING_LOCKED = action("tasting.locked", "Locked answers of tasting")
TASTING_OPENED = action("tasting.opened", "Opened key of tasting")
TASTING_ATTACHED = action("tasting.attached", "Attached tasting as evidence")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("tasting", "Tasting", "recipes:tasting")
    evidence.register()
