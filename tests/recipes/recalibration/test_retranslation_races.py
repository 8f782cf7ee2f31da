"""A calibration accepted while somebody publishes, or while somebody else accepts it as well."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import pytest

from audit.capture.context import recorded
from audit.errors import DomainError
from people.persons.actions import PERSON_ADDED
from people.persons.models import User
from recipes.publishing import run
from recipes.publishing.actions import cancel, publish, stop
from recipes.publishing.models import Publication
from recipes.publishing.plan import PublicationPlan, make_plan
from recipes.publishing.timing import When
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.equipment.models import Station
from stations.metrology.numbers import to_resolution
from stations.slots.models import Placement
from tests.bar import DOUBLE, Bar, approved, draft
from tests.cast import credentials
from tests.publishing import EVERYWHERE, Publish, ordered, quiet, send
from tests.races import at_once
from tests.recipes.calibrating import measure
from tests.services import rounds

__all__ = ["quiet", "send"]
ROUNDS = rounds(60, 8)
pytestmark = pytest.mark.django_db(transaction=True)


def accepting(calibration: Calibration, by: User) -> Calibration:
    """Sign what was seen just before the race."""
    seen = make_retranslation_plan(calibration=calibration, by=by).digest
    return accept_calibration(
        by=by, calibration=calibration, revision=calibration.revision, seen=seen,
        credentials=credentials(by), reason="Yearly round",
    )  # fmt: skip


def publishing(version: Version, plan: PublicationPlan, by: User) -> Publication:
    """Sign a plan that was seen before the race, and place what is due."""
    order = ordered(version, EVERYWHERE, When(), "New crop", plan.digest, acknowledged=True)
    made = publish(**order, by=by, credentials=credentials(by))
    run.run(made.pk)
    return made


def new_version(bar: Bar, number: int) -> Version:
    """The next approved version: half a degree up or down, so that there is something to place."""
    warmer = {**DOUBLE, "brew_temperature": (f"92.{number % 2 * 5}", "0.5", "0.5")}
    with recorded(by=None, action=PERSON_ADDED):
        return approved(bar.cast, draft(bar.cast, warmer, bar.version.recipe))


def wrong_pulses() -> list[tuple[int, str]]:
    """Slots whose setting is not 70 mL by their station's value of now."""
    rows = Placement.objects.in_force().select_related("settings", "slot__station")
    found = []
    for each in rows:
        slope = Station.objects.get(pk=each.slot.station_id).pulses_per_millilitre
        value = each.settings.values["water_volume"]["value"]
        if slope is None or to_resolution(slope * 70, Decimal(1)) != Decimal(value):
            found.append((each.slot_id, value))
    return found


def split(outcomes: list[Any]) -> tuple[list[Any], list[DomainError]]:
    lost = [each for each in outcomes if isinstance(each, DomainError)]
    won = [each for each in outcomes if not isinstance(each, Exception)]
    assert len(lost) + len(won) == len(outcomes), outcomes
    return won, lost


def test_accepting_against_publishing(bar: Bar, send: Publish) -> None:
    """Whoever comes first: no slot is left with pulses by a value that no longer counts."""
    run.run(send().pk)
    for number in range(ROUNDS):
        version = new_version(bar, number)
        roaster, technician = bar.cast.head_roaster, bar.cast.technician
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", technician)
        plan = make_plan(
            version=version, scope=EVERYWHERE, when=When(), by=roaster, now=datetime.now(UTC)
        )
        won, _ = split(
            at_once([
                partial(accepting, measured, technician),
                partial(publishing, version, plan, roaster),
            ])
        )  # fmt: skip
        assert won
        assert wrong_pulses() == []


def test_two_who_accept_the_same(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    for number in range(ROUNDS):
        people = (bar.cast.technician, bar.cast.head_roaster)
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", people[0])
        won, lost = split(at_once([partial(accepting, measured, who) for who in people]))
        assert (len(won), len(lost)) == (1, 1)
        placed = Placement.objects.filter(basis="re_translation", basis_id=measured.pk)
        assert placed.count() in {0, 2}
        assert wrong_pulses() == []


# Beside what a publication has scheduled: whoever comes first, every slot's pulses are by the value
# of now, in force and to come, and no publication is left with slots that nobody places.


def stale_ahead() -> list[tuple[int, str]]:
    """Scheduled settings that are not 70 mL by their station's value of now."""
    rows = Placement.objects.filter(state="scheduled").select_related("settings", "slot__station")
    found = []
    for each in rows:
        slope = Station.objects.get(pk=each.slot.station_id).pulses_per_millilitre
        value = each.settings.values["water_volume"]["value"]
        if slope is None or to_resolution(slope * 70, Decimal(1)) != Decimal(value):
            found.append((each.slot_id, value))
    return found


def test_accepting_while_a_publication_comes_into_force(
    bar: Bar, send: Publish, quiet: None
) -> None:
    run.run(send().pk)
    for number in range(ROUNDS):
        made = send(new_version(bar, number))
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", bar.cast.technician)
        won, _ = split(
            at_once([
                partial(accepting, measured, bar.cast.technician),
                partial(run.run, made.pk),
                partial(run.run, made.pk),
            ])
        )  # fmt: skip
        assert won
        run.run(made.pk)
        made.refresh_from_db()
        assert made.state == "complete"
        assert wrong_pulses() == stale_ahead() == []


def test_accepting_while_a_publication_is_cancelled(bar: Bar, send: Publish, quiet: None) -> None:
    run.run(send().pk)
    roaster, tomorrow = bar.cast.head_roaster, datetime.now(UTC) + timedelta(days=1)
    for number in range(ROUNDS):
        made = send(new_version(bar, number), when=When(tomorrow.date(), time(6, 30)))
        stop(by=roaster, publication=made, revision=made.revision, reason="Wait")
        made.refresh_from_db()
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", bar.cast.technician)
        cancelling = partial(
            cancel, by=roaster, publication=made, revision=made.revision, reason="Not now"
        )
        split(at_once([partial(accepting, measured, bar.cast.technician), cancelling]))
        assert not Placement.objects.filter(state="scheduled").exists()
        assert wrong_pulses() == []


def test_accepting_while_a_publication_for_later_is_signed(
    bar: Bar, send: Publish, quiet: None
) -> None:
    run.run(send().pk)
    roaster, tomorrow = bar.cast.head_roaster, datetime.now(UTC) + timedelta(days=1)
    when = When(tomorrow.date(), time(6, 30))
    for number in range(ROUNDS):
        version = new_version(bar, number)
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", bar.cast.technician)
        signing = partial(send, version, when=when, by=roaster)
        won, _ = split(at_once([partial(accepting, measured, bar.cast.technician), signing]))
        assert won
        assert wrong_pulses() == stale_ahead() == []
        for made in Publication.objects.filter(state="running"):
            stop(by=roaster, publication=made, revision=made.revision, reason="Next round")
            made.refresh_from_db()
            cancel(by=roaster, publication=made, revision=made.revision, reason="Next round")
