"""What publications write to the history, and how it shows them."""

from audit.registry import register_approval, register_content, register_subject
from audit.vocabulary import register as action
from people.signatures.content import signed_rows
from recipes.planning import served
from recipes.publishing.content import READER, publication_content
from recipes.publishing.models import Publication, PublicationSite, menus_of

PUBLICATION_SIGNED = action("publication.signed", "Signed publication")
PUBLICATION_RUN = action("publication.run", "Placed what was due")
PUBLICATION_STOPPED = action("publication.stopped", "Stopped publication")
PUBLICATION_RESUMED = action("publication.resumed", "Resumed publication")
PUBLICATION_CANCELLED = action("publication.cancelled", "Cancelled the rest of a publication")
SITE_CANCELLED = action("publication.site_cancelled", "Cancelled a publication at one site")


def register() -> None:
    """Called once, when the program starts."""
    register_subject("publication", "Publication", "recipes:publication", beside=menus_of)
    register_content("publication", publication_content)
    register_approval("recipes_publication", signed_rows(Publication), "None")
    sites = signed_rows(PublicationSite, "publication__signature")
    register_approval("recipes_publicationsite", sites, "None")
    served.register(READER)
