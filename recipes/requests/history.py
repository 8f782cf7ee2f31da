"""What the history calls the changes of change requests, and how it shows them."""

from audit.registry import register_subject
from audit.vocabulary import register as action
from recipes.requests import evidence

REQUEST_MADE = action("request.made", "Asked for a change")
PERMIT_ASKED = action("request.permit_asked", "Asked for a permit")
REQUEST_CHANGED = action("request.changed", "Changed request")
REQUEST_ASKED_BACK = action("request.asked_back", "Asked back about request")
REQUEST_REBASED = action("request.rebased", "Updated request to the current version")
REQUEST_ACCEPTED = action("request.accepted", "Accepted request")
REQUEST_PERMITTED = action("request.permitted", "Answered request by a permit")
REQUEST_DECLINED = action("request.declined", "Declined request")
REQUEST_TAKEN_BACK = action("request.taken_back", "Took back request")
ANSWER_SEEN = action("request.answer_seen", "Saw the answer to request")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("change request", "Change request", "recipes:request")
    evidence.register()
