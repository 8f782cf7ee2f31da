"""Who may change what every site shares."""

from audit.errors import NotPermitted
from audit.subject import Subject
from people.models import User
from people.permissions import covered_sites, require
from people.verbs import Verb, roles_for


def require_everywhere(by: User, verb: Verb, subject: Subject) -> None:
    """Ask for a role that covers all sites: what is changed here reaches beyond any one site.

    Raises NotPermitted.
    """
    require(by, verb, subject=subject)
    if covered_sites(by, verb) is not None:
        raise NotPermitted(
            "This concerns every site, and your role covers named sites only.",
            who_may=f"{roles_for(verb)} whose role covers all sites",
            how_to_ask="Ask one of them, or ask an owner to change your roles.",
            subject=subject,
        )
