"""What permits write to the history, and how it shows them."""

from audit.registry import register_content, register_subject
from audit.vocabulary import register as action
from recipes.permits.content import READER, permit_content
from recipes.planning import served

PERMIT_GRANTED = action("permit.granted", "Granted deviation permit")
PERMIT_ENDED = action("permit.ended", "Ended deviation permit")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("permit", "Deviation permit", "recipes:permit")
    register_content("permit", permit_content)
    served.register(READER)
