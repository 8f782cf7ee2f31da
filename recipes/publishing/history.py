"""What publications and permits write to the history, each action in plain words."""

from audit.registry import register_subject
from audit.vocabulary import register as action

PUBLICATION_SIGNED = action("publication.signed", "Signed publication")
PUBLICATION_RUN = action("publication.run", "Placed what was due")
PUBLICATION_STOPPED = action("publication.stopped", "Stopped publication")
PUBLICATION_RESUMED = action("publication.resumed", "Resumed publication")
PUBLICATION_CANCELLED = action("publication.cancelled", "Cancelled the rest of a publication")
PERMIT_GRANTED = action("permit.granted", "Granted deviation permit")
PERMIT_ENDED = action("permit.ended", "Ended deviation permit")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("publication", "Publication", "recipes:publication")
    register_subject("re_translation", "Calibration", "recipes:calibration")
    register_subject("permit", "Deviation permit", "recipes:permit")
