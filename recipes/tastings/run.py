"""Answers written down, locked, the key opened, and the outcome attached as evidence."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from django.utils import timezone

from audit.context import recorded
from audit.errors import Invalid, Problem, Refused
from audit.revision import compare_and_set
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes import history
from recipes.models import ChangeRequest, Tasting, TastingAnswer, Version
from recipes.tastings.result import session

State = Tasting.State


def record_answers(*, tasting: Tasting, answers: Mapping[int, str], by: User) -> Tasting:
    """Write down which cup was chosen in which serving; an empty one takes the answer away.

    Raises NotPermitted, Invalid naming answer_<number>, and Refused once they are locked.
    """
    with _doing(tasting, history.TASTING_ANSWERED, by):
        now = _locked(tasting, State.PLANNED, "its answers are locked")
        _check(now, answers)
        emptied = [number for number, chosen in answers.items() if not chosen]
        if emptied:
            now.answers.filter(number__in=emptied).delete()
        TastingAnswer.objects.bulk_create(
            [
                TastingAnswer(tasting=now, number=number, chosen=chosen)
                for number, chosen in answers.items()
                if chosen
            ],
            update_conflicts=True,
            unique_fields=["tasting", "number"],
            update_fields=["chosen"],
        )
        return now


def lock_answers(*, tasting: Tasting, by: User) -> Tasting:
    """Close the answers. Raises NotPermitted, and Refused if there is none or they are closed."""
    with _doing(tasting, history.TASTING_LOCKED, by):
        now = _locked(tasting, State.PLANNED, "its answers are locked already")
        if not now.answers.exists():
            raise Refused("There is no answer to lock yet.", how_to_ask="Enter the answers first.")
        compare_and_set(now, now.revision, state=State.LOCKED, locked_at=timezone.now())
        return now


def open_key(*, tasting: Tasting, by: User) -> Tasting:
    """Open the key. Raises NotPermitted, and Refused unless the answers are locked."""
    with _doing(tasting, history.TASTING_OPENED, by):
        now = _locked(tasting, State.LOCKED, "the key opens once the answers are locked, and once")
        compare_and_set(now, now.revision, state=State.OPENED, opened_at=timezone.now())
        return now


def attach(
    *, tasting: Tasting, by: User, request: ChangeRequest | None = None,
    version: Version | None = None,
) -> Tasting:  # fmt: skip
    """Make an opened tasting evidence for an undecided request or a version not yet approved.

    Raises NotPermitted, and Refused if it is neither or the tasting is attached or not opened.
    """
    with _doing(tasting, history.TASTING_ATTACHED, by):
        now = _locked(tasting, State.OPENED, "only an opened tasting is evidence")
        if request is not None and request.state not in {"open", "asked_back"}:
            raise Refused(f"Request {request.pk} is {request.get_state_display()} already.")
        if version is not None and version.state not in {"draft", "in_review"}:
            raise Refused(f"{version} is {version.get_state_display()}: evidence comes before.")
        if (request is None) is (version is None) or now.for_request_id or now.for_version_id:
            raise Refused("A tasting is evidence for one request or one draft.")
        compare_and_set(now, now.revision, for_request=request, for_version=version)
        return now


@contextmanager
def _doing(tasting: Tasting, action: str, by: User) -> Iterator[None]:
    """Recorded, and permission asked for inside, so that a refusal is recorded too."""
    subject = Subject("tasting", tasting.pk, str(tasting))
    with recorded(by=by, action=action, subject=subject, site_id=tasting.site_id):
        require(by, Verb.TASTING_RUN, tasting.site_id, subject)
        yield


def _locked(tasting: Tasting, state: Tasting.State, told: str) -> Tasting:
    """The tasting as it is now, its row held, in the state in which this can be done."""
    now: Tasting = Tasting.objects.select_for_update().get(pk=tasting.pk)
    if now.state != state:
        raise Refused(f"Tasting {now.pk}: {told}.", how_to_ask="Plan another tasting.")
    return now


def _check(tasting: Tasting, answers: Mapping[int, str]) -> None:
    cups = {serving.number: serving.codes for serving in session(tasting)}
    problems = [
        Problem(
            f"answer_{number}",
            chosen,
            f"one of {', '.join(cups[number])}" if number in cups else f"servings 1 to {len(cups)}",
        )
        for number, chosen in answers.items()
        if number not in cups or (chosen and chosen not in cups[number])
    ]
    if problems:
        raise Invalid.of(problems)
