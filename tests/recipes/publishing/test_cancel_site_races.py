"""Cancelling one site at the moment in which something else happens to it."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial

import pytest

from audit.errors import Refused, Stale
from recipes.permits.actions import grant
from recipes.permits.plan import make_permit_plan
from recipes.publishing.actions import cancel, cancel_site, resume, stop
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import credentials
from tests.races import at_once
from tests.recipes.calibrating import accept, measure
from tests.recipes.publishing.hands import (
    check_counts,
    later,
    next_week,
    order_for,
    other_version,
    signing,
    split,
    work,
)
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(100, 6)
Act = Callable[..., object]


def cancelling(publication: Publication, bar: Bar, who: str = "head_roaster") -> Act:
    """The button for the harbour, pressed by somebody whose page was loaded before."""
    seen = Publication.objects.get(pk=publication.pk)
    part = PublicationSite.objects.select_related("publication").get(
        publication=seen, site=bar.cast.site
    )
    by = getattr(bar.cast, who)
    return partial(cancel_site, by=by, part=part, revision=seen.revision, reason="The grinder")


def pressing(act: Act, publication: Publication, bar: Bar) -> Act:
    seen = Publication.objects.get(pk=publication.pk)
    who = bar.cast.second_roaster
    return partial(act, by=who, publication=seen, revision=seen.revision, reason="Wait")


def signed(bar: Bar, number: int, *, due: bool = True) -> Publication:
    versions = (bar.version, other_version(bar, f"Round {number}"))
    order = order_for(
        versions[number % 2], bar.cast.head_roaster, Scope(Where.ALL),
        None if due else next_week(),
    )  # fmt: skip
    return signing(order, bar.cast.head_roaster)()


def give_up(publication: Publication, bar: Bar) -> None:
    publication.refresh_from_db()
    if publication.state == "running":
        pressing(stop, publication, bar)()
    publication.refresh_from_db()
    if publication.state == "stopped":
        pressing(cancel, publication, bar)()


def test_against_workers(bar: Bar) -> None:
    """Each slot comes into force or is cancelled, none both and none neither."""
    for number in range(ROUNDS):
        publication = signed(bar, number)
        working = partial(work, publication.pk, 1)
        race: list[Act] = [
            working, working, later(0.01 * (number % 4), cancelling(publication, bar)),
        ]  # fmt: skip
        _, lost = split(at_once(race))
        assert [type(told) for told in lost] in ([], [Refused])
        work(publication.pk, 5)
        check_counts(publication)
        publication.refresh_from_db()
        assert publication.state == "complete"
        assert not Placement.objects.filter(state="scheduled").exists()
        part = PublicationSite.objects.get(publication=publication, site=bar.cast.site)
        assert part.placed + part.cancelled == part.slots


def test_two_at_once(bar: Bar) -> None:
    for number in range(ROUNDS):
        publication = signed(bar, number, due=False)
        race = [cancelling(publication, bar), cancelling(publication, bar, "second_roaster")]
        won, lost = split(at_once(race))
        assert (won, [type(told) for told in lost]) == ([6], [Stale])
        check_counts(publication)
        give_up(publication, bar)


@pytest.mark.parametrize("begun", ["running", "stopped"])
def test_against_stop_resume_and_cancel(bar: Bar, begun: str) -> None:
    """Whoever saw the publication before the other decided is told to look again."""
    for number in range(ROUNDS):
        publication = signed(bar, number, due=False)
        others: list[Act] = [stop]
        if begun == "stopped":
            pressing(stop, publication, bar)()
            others = [resume, cancel]
        other = pressing(others[number % len(others)], publication, bar)
        won, lost = split(at_once([cancelling(publication, bar), other]))
        assert (len(won), len(lost)) == (1, 1)
        assert isinstance(lost[0], Stale | Refused)
        check_counts(publication)
        give_up(publication, bar)
        check_counts(publication)


def test_against_another_publication(bar: Bar) -> None:
    """For the slots that become free: it gets them, or its plan has moved."""
    here = Scope(Where.SITES, (bar.cast.site.pk,))
    for number in range(ROUNDS):
        publication = signed(bar, number, due=False)
        order = order_for(other_version(bar, f"Next {number}"), bar.cast.second_roaster, here)
        race: list[Act] = [cancelling(publication, bar), signing(order, bar.cast.second_roaster)]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert outcomes[0] == 6
        assert [type(told) for told in lost] == [Refused], "what it saw was that they wait"
        check_counts(publication)
        give_up(publication, bar)


def test_against_a_permit_there(bar: Bar) -> None:
    """A permit steps in, or is looked at again; what waited is given up all the same."""
    head = bar.cast.head_roaster
    work(signed(bar, 0).pk, 100)
    slots = list(Slot.objects.filter(station__machine__site=bar.cast.site).order_by("pk"))
    for number, slot in enumerate(slots[:4]):
        publication = signed(bar, 2 * number + 1, due=False)
        ends_at = datetime.now(UTC) + timedelta(days=2)
        changes: dict[str, Decimal | str] = {"water_volume": Decimal(62)}
        plan = make_permit_plan(slots=(slot.pk,), changes=changes, ends_at=ends_at, by=head)
        granting = partial(
            grant, by=head, slots=(slot.pk,), changes=changes, ends_at=ends_at, seen=plan.digest,
            reason="Gasket", credentials=credentials(head), acknowledged=True,
        )  # fmt: skip
        race: list[Act] = [cancelling(publication, bar), granting]
        _, lost = split(at_once(race))
        # Who grants sees what takes over there: a plan that no longer says so is looked at again.
        assert all("The plan has moved" in str(each) for each in lost)
        check_counts(publication)
        held = Placement.objects.in_force().get(slot=slot)
        assert held.basis == ("publication" if lost else "permit")
        give_up(publication, bar)


def test_against_a_calibration_there(bar: Bar) -> None:
    """What is translated anew before its moment is given up with the rest, or not made at all."""
    who = bar.cast.technician
    for number in range(min(ROUNDS, 4)):
        publication = signed(bar, number, due=False)
        measured = measure(bar.stations[0], str(4.2 + number / 10), who)
        race: list[Act] = [cancelling(publication, bar), partial(accept, measured, who)]
        outcomes = at_once(race)
        split(outcomes)
        assert outcomes[0] == 6
        part = PublicationSite.objects.get(publication=publication, site=bar.cast.site)
        assert (part.placed, part.cancelled) == (0, 6)
        waits = Placement.objects.filter(basis_id=publication.pk, site=bar.cast.site)
        assert not waits.filter(state="scheduled").exists()
        give_up(publication, bar)
