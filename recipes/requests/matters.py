"""What of change requests is worth hearing of: one to decide, and what was decided."""

from collections.abc import Iterable
from datetime import timedelta
from textwrap import shorten

from django.db.models import Q
from django.utils import timezone

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from recipes.requests.models import ChangeRequest, RequestState

NEWS = timedelta(days=14)  # how long a decision is worth telling
LENGTH = 300  # characters of a reason


def to_decide() -> Iterable[Found]:
    """For whoever decides, but for who asked."""
    for request in ChangeRequest.objects.waiting().with_base():
        yield Found(
            key=str(request.pk),
            title=f"{request.site}: {request.author} asks for {request.wanted}"
            f" {request.base.recipe}",
            words=shorten(request.reason, LENGTH, placeholder="…"),
            url=request.get_absolute_url(),
            sites=(request.site_id,),
            not_for=(request.author_id,),
        )


def decided() -> Iterable[Found]:
    """For who asked: accepted, permitted or declined of late, or asked back."""
    answers = [RequestState.ACCEPTED, RequestState.DECLINED, RequestState.PERMITTED]
    lately = Q(state__in=answers, decided_at__gte=timezone.now() - NEWS)
    rows = ChangeRequest.objects.filter(lately | Q(state=RequestState.ASKED_BACK)).with_base()
    for request in rows.order_by("pk"):
        yield Found(
            key=f"{request.pk}:{request.state}:{request.decided_at or ''}",
            title=f"Your request about {request.base.recipe}: {request.get_state_display()}",
            words=shorten(request.decision_reason, LENGTH, placeholder="…"),
            url=request.get_absolute_url(),
            sites=(request.site_id,),
            to=request.author_id,
            since=request.decided_at,
        )


def register() -> None:
    """Called once, when the program starts."""
    page = "recipes:request"
    register_kind(Kind("request", "A request to decide", Verb.REQUEST_DECIDE, to_decide, page))
    register_kind(Kind("decided", "What became of my request", Verb.REQUEST_MAKE, decided, page))
