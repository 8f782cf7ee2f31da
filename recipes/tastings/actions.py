"""Blind tastings: planned, answered, locked, opened, and attached as evidence."""

import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from decimal import Decimal

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Refused, Subject
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.brewing.serving import MOST_SERVINGS
from recipes.brewing.taste import Method
from recipes.requests.models import ChangeRequest
from recipes.tastings import history
from recipes.tastings.models import Aim, Tasting, TastingAnswer, TastingState
from recipes.tastings.prospect import LEAST_SHARE, MOST_SHARE
from recipes.tastings.result import session
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.checks import Checks
from web.numbers import Bounds

State = TastingState
SAMPLE, SEED, NOTE = 120, 100, 200  # characters
MOST_EACH = 20  # servings of one taster
LEAST_RISK, MOST_RISK = Decimal("0.0001"), Decimal("0.5")
RISK = Bounds(LEAST_RISK, MOST_RISK, places=4, unit="1")


def plan_tasting(
    *, by: User, site: Site, method: str, first_sample: str, second_sample: str, risk: Decimal,
    assessments: int, base: Version | None = None, other: Version | None = None, seed: str = "",
    aim: str = Aim.DIFFERENCE, share: Decimal | None = None, servings_each: int = 1,
) -> Tasting:  # fmt: skip
    """Plan a session at a site; without a seed one is drawn.

    Samples may be described, or be versions, which then name themselves. ``share`` is the most
    tasters who may tell, where the aim is similarity. Raises NotPermitted and Invalid.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=history.TASTING_PLANNED, subject=subject, site_id=site.pk):
        require(by, Verb.TASTING_RUN, site.pk, subject)
        first, second = first_sample.strip() or _name(base), second_sample.strip() or _name(other)
        checks = Checks()
        checks.that(method in list(Method), "method", method, f"one of {', '.join(Method)}")
        first = checks.text("first_sample", first, most=SAMPLE)
        second = checks.text("second_sample", second, most=SAMPLE)
        checks.that(first != second, "second_sample", second, "something other than sample A")
        checks.that(_is_risk(risk), "risk", risk, f"a number from {LEAST_RISK} to {MOST_RISK}")
        checks.whole("assessments", assessments, 1, MOST_SERVINGS, " of answers")
        _check_aim(checks, method, aim, share, servings_each)
        seed = checks.text("seed", seed, most=SEED, required=False) or secrets.token_hex(8)
        checks.done()
        made = Tasting.objects.create(
            site=site, method=method, base=base, other=other, first_sample=first,
            second_sample=second, risk=risk, assessments=assessments, seed=seed, planned_by=by,
            aim=aim, share=share, servings_each=servings_each,
        )  # fmt: skip
        made.refresh_from_db(fields=["planned_at"])
        return made


def _check_aim(
    checks: Checks, method: str, aim: str, share: Decimal | None, servings_each: int
) -> None:
    """For similarity every taster tastes once: answers of one person hang together."""
    similar = aim == Aim.SIMILARITY
    checks.that(aim in Aim.values, "aim", aim, f"one of {', '.join(Aim.values)}")
    checks.whole("servings_each", servings_each, 1, MOST_EACH, " of servings")
    if not similar:
        checks.that(share is None, "share", share, "nothing, where a difference is to be shown")
        return
    checks.that(
        share is not None and share.is_finite() and LEAST_SHARE <= share <= MOST_SHARE,
        "share", share, f"a number from {LEAST_SHARE} to {MOST_SHARE}",
    )  # fmt: skip
    checks.that(
        method in (Method.TRIANGLE, Method.DUO_TRIO), "method", method,
        "triangle or duo-trio, where samples are to be the same",
    )  # fmt: skip
    checks.that(
        servings_each == 1, "servings_each", servings_each,
        "1, where samples are to be the same: each taster tastes once",
    )  # fmt: skip


def _is_risk(risk: object) -> bool:
    return isinstance(risk, Decimal) and risk.is_finite() and LEAST_RISK <= risk <= MOST_RISK


def _name(version: Version | None) -> str:
    return "" if version is None else str(version)[:SAMPLE]


def record_answers(
    *, by: User, tasting: Tasting, revision: int, answers: Mapping[int, str],
    notes: Mapping[int, str] | None = None,
) -> Tasting:  # fmt: skip
    """Write down which cup was chosen in which serving, and what was said of it.

    An empty code takes the answer away, and its note; a serving without a note given keeps the one
    it has. Raises NotPermitted, Invalid naming answer_<number> or note_<number>, Refused once they
    are locked, and Stale where somebody else wrote answers down meanwhile: an empty one must not
    take theirs away.
    """
    with _doing(by, tasting, history.TASTING_ANSWERED):
        now = _locked(tasting, revision, State.PLANNED, "its answers are locked")
        stood = {one.number: one for one in now.answers.all()}
        notes = notes or {}
        rows = [_answer(now, stood.get(at), at, answers, notes) for at in {**answers, **notes}]
        _check(now, rows)
        compare_and_set(now, revision)
        now.answers.filter(number__in=[row.number for row in rows if not row.chosen]).delete()
        TastingAnswer.objects.bulk_create(
            [row for row in rows if row.chosen],
            update_conflicts=True,
            unique_fields=["tasting", "number"],
            update_fields=["chosen", "note"],
        )
        return now


def lock_answers(*, by: User, tasting: Tasting, revision: int) -> Tasting:
    """Close the answers.

    Raises NotPermitted, Refused if there is none or they are closed, and Stale.
    """
    with _doing(by, tasting, history.TASTING_LOCKED):
        now = _locked(tasting, revision, State.PLANNED, "its answers are locked already")
        if not now.answers.exists():
            raise Refused("There is no answer to lock yet.", how_to_ask="Enter the answers first.")
        compare_and_set(now, revision, state=State.LOCKED, locked_at=timezone.now())
        return now


def open_key(*, by: User, tasting: Tasting, revision: int) -> Tasting:
    """Open the key. Raises NotPermitted, Refused unless the answers are locked, and Stale."""
    with _doing(by, tasting, history.TASTING_OPENED):
        now = _locked(
            tasting, revision, State.LOCKED, "the key opens once the answers are locked, and once"
        )
        compare_and_set(now, revision, state=State.OPENED, opened_at=timezone.now())
        return now


def attach(
    *, by: User, tasting: Tasting, revision: int, request: ChangeRequest | None = None,
    version: Version | None = None,
) -> Tasting:  # fmt: skip
    """Make an opened tasting evidence for an undecided request or a version not yet approved.

    Raises NotPermitted, Refused if it is neither or the tasting is attached or not opened, Stale.
    """
    with _doing(by, tasting, history.TASTING_ATTACHED):
        now = _locked(tasting, revision, State.OPENED, "only an opened tasting is evidence")
        if request is not None and request.state not in {"open", "asked_back"}:
            raise Refused(f"Request {request.pk} is {request.get_state_display()} already.")
        if version is not None and version.state not in {"draft", "in_review"}:
            raise Refused(f"{version} is {version.get_state_display()}: evidence comes before.")
        if (request is None) is (version is None) or now.for_request_id or now.for_version_id:
            raise Refused("A tasting is evidence for one request or one draft.")
        compare_and_set(now, revision, for_request=request, for_version=version)
        return now


@contextmanager
def _doing(by: User, tasting: Tasting, action: str) -> Iterator[None]:
    """Recorded, and permission asked for inside, so that a refusal is recorded too."""
    subject = Subject("tasting", tasting.pk, str(tasting))
    with recorded(by=by, action=action, subject=subject, site_id=tasting.site_id):
        require(by, Verb.TASTING_RUN, tasting.site_id, subject)
        yield


def _locked(tasting: Tasting, revision: int, state: TastingState, otherwise: str) -> Tasting:
    """The tasting as it is now, its row locked, in the state in which this can be done."""
    now: Tasting = Tasting.objects.select_for_update().get(pk=tasting.pk)
    if now.state != state:
        raise Refused(f"Tasting {now.pk}: {otherwise}.", how_to_ask="Plan another tasting.")
    must_be_at(now, revision)
    return now


def _answer(
    tasting: Tasting, stood: TastingAnswer | None, number: int, answers: Mapping[int, str],
    notes: Mapping[int, str],
) -> TastingAnswer:  # fmt: skip
    chosen = answers.get(number, stood.chosen if stood else "")
    note = notes.get(number, stood.note if stood and chosen else "").strip()
    return TastingAnswer(tasting=tasting, number=number, chosen=chosen, note=note)


def _check(tasting: Tasting, rows: Sequence[TastingAnswer]) -> None:
    cups = {serving.number: serving.codes for serving in session(tasting)}
    checks = Checks()
    for row in rows:
        codes = cups.get(row.number)
        allowed = f"one of {', '.join(codes)}" if codes else f"servings 1 to {len(cups)}"
        known = codes is not None and (not row.chosen or row.chosen in codes)
        checks.that(known, f"answer_{row.number}", row.chosen, allowed)
        checks.text(f"note_{row.number}", row.note, most=NOTE, required=False)
        loose = row.note and not row.chosen
        checks.that(not loose, f"note_{row.number}", row.note, "nothing, until a cup is chosen")
    checks.done()
