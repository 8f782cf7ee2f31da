"""Context of every page at a tablet: which it is, who is at it, and how it is handed over."""

from django.http import HttpRequest
from django.urls import reverse

from people.persons.models import User
from people.sign_in.sessions import AT_TABLET
from people.tablets.handing_over import IDLE
from people.tablets.recognising import recognised


def at_tablet(request: HttpRequest) -> dict[str, object]:
    """Nothing anywhere else."""
    tablet = recognised(request)
    if tablet is None:
        return {}
    shown: dict[str, object] = {"at_tablet": tablet}
    if isinstance(getattr(request, "user", None), User):
        shown |= {
            "tablet_leave_url": reverse("people:tablet_leave"),
            "tablet_rest_url": reverse("people:tablet_rest"),
            "tablet_idle_seconds": 60 * int(request.session.get(IDLE, 0)),
            "by_pin": AT_TABLET in request.session,
        }
    return shown
