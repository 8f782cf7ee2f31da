"""The answer to a request reaches who asked: until they say that they have seen it."""

from datetime import timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.revision import must_be_at
from people.persons.models import User
from recipes.requests import history
from recipes.requests.actions import lock_request, must_be_own, subject_of
from recipes.requests.models import AnswerSeen, ChangeRequest

LATELY = timedelta(days=30)  # an older answer is found with the requests
ANSWERS = ("accepted", "declined", "asked_back", "permitted")


def unseen_answers(user: User) -> QuerySet[ChangeRequest]:
    """Requests of this person that were answered of late and not seen since, the newest first."""
    # Not by revision: evidence that is attached to a question moves that, and is no new answer.
    seen = AnswerSeen.objects.filter(request=OuterRef("pk"), at__gte=OuterRef("decided_at"))
    rows = ChangeRequest.objects.filter(
        author=user, state__in=ANSWERS, decided_at__gte=Now() - LATELY
    )
    return rows.filter(~Exists(seen)).with_base().order_by("-decided_at", "-pk")


def see_answer(*, by: User, request: ChangeRequest, revision: int) -> AnswerSeen:
    """Say that one has seen the answer to one's own request; again, it changes nothing.

    Raises NotPermitted for another's and Stale where it was answered anew.
    """
    subject, site = subject_of(request), request.site_id
    with recorded(by=by, action=history.ANSWER_SEEN, subject=subject, site_id=site):
        now = lock_request(request)
        must_be_own(now, by)
        must_be_at(now, revision)
        return AnswerSeen.objects.get_or_create(request=now, revision=revision)[0]
