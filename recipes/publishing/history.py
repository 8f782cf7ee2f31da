"""What publications and permits write to the history, each action in plain words."""

from audit.vocabulary import register

PUBLICATION_SIGNED = register("publication.signed", "Signed publication")
PUBLICATION_RUN = register("publication.run", "Placed what was due")
PUBLICATION_STOPPED = register("publication.stopped", "Stopped publication")
PUBLICATION_RESUMED = register("publication.resumed", "Resumed publication")
PUBLICATION_CANCELLED = register("publication.cancelled", "Cancelled the rest of a publication")
PERMIT_GRANTED = register("permit.granted", "Granted deviation permit")
PERMIT_ENDED = register("permit.ended", "Ended deviation permit")
