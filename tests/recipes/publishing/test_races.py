"""Two people publish at the same moment: exactly one wins, the other is told why."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial

import pytest

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import Refused
from people.persons.actions import PERSON_ADDED
from recipes.publishing.actions import cancel, stop
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.versions.models import Version
from recipes.versions.review import withdraw
from stations.equipment.models import Station
from stations.slots.models import Placement
from tests.bar import DOUBLE, Bar, approved, draft
from tests.publishing import plan_of
from tests.races import at_once
from tests.recipes.calibrating import accept, typed_in
from tests.recipes.publishing.hands import (
    at_slot,
    later,
    order_for,
    other_version,
    signing,
    split,
    work,
)
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(200, 10)


def give_up(publication: Publication, bar: Bar) -> None:
    """Make its slots free again."""
    for act in (stop, cancel):
        act(
            by=bar.cast.head_roaster, publication=publication, revision=publication.revision,
            reason="Next round",
        )  # fmt: skip


def test_two_versions_for_one_slot(bar: Bar) -> None:
    slot, head, second = bar.slots[0], bar.cast.head_roaster, bar.cast.second_roaster
    versions = (bar.version, other_version(bar))
    for number in range(ROUNDS):
        scope = at_slot(slot)
        first, other = versions if number % 2 else reversed(versions)
        race = [
            signing(order_for(first, head, scope), head),
            signing(order_for(other, second, scope), second),
        ]
        won, lost = split(at_once(race))
        assert [type(told) for told in lost] == [Refused]
        assert lost[0].message.startswith("The plan has moved")
        assert Placement.objects.filter(slot=slot, state="scheduled").count() == 1
        line = plan_of(bar.version, head, scope).lines[0]
        assert line.reasons == (
            f"publication {won[0].pk} already waits for this slot;"
            " let it finish, or stop and cancel it",
        )
        give_up(won[0], bar)
    refusals = Entry.objects.filter(operation="refused", action="publication.signed")
    assert refusals.count() == ROUNDS


def test_one_version_signed_twice(bar: Bar) -> None:
    """Two browsers, one person, one plan: one publication."""
    head, scope = bar.cast.head_roaster, Scope(Where.ALL)
    for _ in range(ROUNDS):
        order = order_for(bar.version, head, scope)
        won, lost = split(at_once([signing(order, head), signing(order, head)]))
        assert (len(won), len(lost)) == (1, 1)
        assert Placement.objects.filter(state="scheduled").count() == len(bar.slots)
        give_up(won[0], bar)


def test_publishing_against_withdrawing(bar: Bar) -> None:
    """Never both: a withdrawn version with slots that wait for it would be placed all the same."""
    head, second, scope = bar.cast.head_roaster, bar.cast.second_roaster, at_slot(bar.slots[0])
    for number in range(ROUNDS):
        version = other_version(bar, f"Round {number}")
        race: list[Callable[[], Publication | Version]] = [
            signing(order_for(version, head, scope), head),
            partial(
                withdraw,
                by=second,
                version=version,
                revision=version.revision,
                reason="Burnt roast",
            ),
        ]
        won, lost = split(at_once(race))
        assert (len(won), [type(told) for told in lost]) == (1, [Refused])
        version.refresh_from_db()
        if isinstance(won[0], Publication):
            assert version.state == "approved"
            give_up(won[0], bar)


def test_plans_that_overlap_in_part(bar: Bar) -> None:
    """Slot 1 everywhere against every slot at one site: no slot is promised twice."""
    head, second, other = bar.cast.head_roaster, bar.cast.second_roaster, other_version(bar)
    for _ in range(ROUNDS):
        wide = order_for(bar.version, head, Scope(Where.ALL, slot_numbers=(1,)))
        tall = order_for(other, second, Scope(Where.SITES, (bar.cast.site.pk,)))
        won, lost = split(at_once([signing(wide, head), signing(tall, second)]))
        assert (len(won), len(lost)) == (1, 1)
        give_up(won[0], bar)


def test_apart_from_each_other_both_win(bar: Bar) -> None:
    head, second, other = bar.cast.head_roaster, bar.cast.second_roaster, other_version(bar)
    for _ in range(ROUNDS):
        one = order_for(bar.version, head, Scope(Where.ALL, slot_numbers=(1,)))
        two = order_for(other, second, Scope(Where.ALL, slot_numbers=(2,)))
        won, lost = split(at_once([signing(one, head), signing(two, second)]))
        assert (len(won), len(lost)) == (2, 0)
        for publication in won:
            give_up(publication, bar)


def new_version(bar: Bar, number: int) -> Version:
    """The next approved version, so that there is something to place."""
    other = {**DOUBLE, "brew_temperature": (f"92.{number % 2 * 5}", "0.5", "0.5")}
    with recorded(by=None, action=PERSON_ADDED):
        return approved(bar.cast, draft(bar.cast, other, bar.version.recipe))


def test_signing_against_a_change_of_the_station(bar: Bar) -> None:
    """What is placed is what was signed, or the plan has moved."""
    station, head = bar.stations[0], bar.cast.head_roaster
    slot = station.slots.get(number=1)
    for number in range(ROUNDS):
        now = Station.objects.select_related("machine").get(pk=station.pk)
        version = new_version(bar, number)
        order = order_for(version, head, at_slot(slot))
        seen = (now.pulses_per_millilitre or Decimal(0)) * 70  # mL
        race: list[Callable[[], object]] = [
            signing(order, head),
            # The change is quicker than the signature: now and then it starts behind.
            later(0.02 * (number % 4), partial(
                accept, typed_in(now, str(4 + Decimal(number + 1) / 50), head), head
            )),
        ]  # fmt: skip
        outcomes = at_once(race)
        won, lost = split(outcomes)
        assert won
        assert all("plan has moved" in str(told) for told in lost), lost
        if outcomes[0] in won:
            signed_for(outcomes[0], seen)


def signed_for(publication: object, pulses: Decimal) -> None:
    """It carries the settings of the station as it was when it was looked at."""
    assert isinstance(publication, Publication)
    mine = Placement.objects.filter(basis="publication", basis_id=publication.pk)
    # A calibration accepted behind it translates it anew, under a signature of its own.
    held = mine.select_related("settings").get(signature=publication.signature_id)
    assert mine.filter(state="scheduled").count() == 1
    assert held.settings.values["water_volume"]["value"] == str(round(pulses))
    assert held.signature is not None
    assert held.signature.digest == publication.plan_digest
    assert work(publication.pk, 1) == 1
