"""What permits write to the history, and how it shows them."""

from audit.reading.labels import register_label
from audit.registry import register_approval, register_content, register_subject
from audit.vocabulary import register as action
from people.signatures.content import signed_rows
from recipes.permits.content import READER, permit_content
from recipes.permits.models import Permit, PermitChange, PermitSlot
from recipes.planning import served

PERMIT_GRANTED = action("permit.granted", "Granted deviation permit")
PERMIT_ENDED = action("permit.ended", "Ended deviation permit")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("permit", "Deviation permit", "recipes:permit")
    register_content("permit", permit_content)
    register_label("recipes_permitchange", "target", "Target", of_parameter=True)
    register_approval("recipes_permit", signed_rows(Permit), "None")
    for part in (PermitSlot, PermitChange):
        register_approval(part._meta.db_table, signed_rows(part, "permit__signature"), "None")
    served.register(READER)
