"""A site opens the lot at the moment in which somebody signs, cancels or calibrates.

Nobody sweeps here: whoever commits last finds the other's row, or slots would wait in vain.
"""

from collections.abc import Callable
from functools import partial

import pytest

from audit.errors import Refused, Stale
from recipes.coffees.models import RoastLot
from recipes.publishing import run
from recipes.publishing.actions import cancel, resume, stop
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.timing import When
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.lots.models import LotOpening
from stations.slots.models import Placement
from tests.bar import Bar, approved, draft
from tests.cast import credentials
from tests.publishing import EVERYWHERE
from tests.races import at_once
from tests.recipes.calibrating import measure
from tests.recipes.publishing.hands import (
    SHORT,
    check_counts,
    later,
    order_for,
    other_version,
    signing,
    split,
)
from tests.recipes.publishing.lots import lot_of, opening, station_at
from tests.services import rounds

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = rounds(100, 8)


@pytest.fixture(autouse=True)
def _worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever is told places at once, on the connection that told it."""
    for where in ("opening", "actions"):
        monkeypatch.setattr(f"recipes.publishing.{where}.start", run.run)


def placed_at_harbour(publication: Publication, bar: Bar) -> int:
    here = PublicationSite.objects.get(publication=publication, site=bar.cast.site)
    return here.placed


def opens(lot: RoastLot, bar: Bar, number: int = 0) -> Callable[[], LotOpening]:
    at = station_at(bar.cast.site, number)
    return partial(opening, lot, at, bar.cast.barista)


def taking_turns(bar: Bar) -> tuple[Version, Version]:
    return bar.version, other_version(bar)


def test_opening_against_signing(bar: Bar) -> None:
    versions, head = taking_turns(bar), bar.cast.head_roaster
    for number in range(ROUNDS):
        version = versions[number % 2]
        lot = lot_of(version, head, f"S{number}")
        order = order_for(version, head, EVERYWHERE, When(lot=lot))
        race: list[Callable[[], object]] = [
            later(0.003 * (number % 4), signing(order, head)), opens(lot, bar),
        ]  # fmt: skip
        signed, _ = at_once(race)
        assert isinstance(signed, Publication), signed
        assert placed_at_harbour(signed, bar) == 6, "nobody has to wait for a sweep"
        check_counts(signed)
        _give_up(signed, bar)


def _give_up(publication: Publication, bar: Bar) -> None:
    """The upland bar never opens it."""
    for act in (stop, cancel):
        seen = Publication.objects.get(pk=publication.pk)
        act(by=bar.cast.head_roaster, publication=seen, revision=seen.revision, reason="Sold out")


def test_two_open_it_at_once(bar: Bar) -> None:
    versions, head = taking_turns(bar), bar.cast.head_roaster
    for number in range(ROUNDS):
        version = versions[number % 2]
        lot = lot_of(version, head, f"T{number}")
        publication = signing(order_for(version, head, EVERYWHERE, When(lot=lot)), head)()
        assert placed_at_harbour(publication, bar) == 0
        won, _ = split(at_once([opens(lot, bar, 0), opens(lot, bar, 1)]))
        assert len(won) == 2
        assert placed_at_harbour(publication, bar) == 6
        check_counts(publication)
        _give_up(publication, bar)


def test_opening_against_stopping_and_cancelling(bar: Bar) -> None:
    """Whatever was placed is counted, and what was cancelled is never placed."""
    versions, head = taking_turns(bar), bar.cast.head_roaster
    for number in range(ROUNDS):
        version = versions[number % 2]
        lot = lot_of(version, head, f"C{number}")
        publication = signing(order_for(version, head, EVERYWHERE, When(lot=lot)), head)()
        giving_up = later(0.002 * (number % 5), partial(_give_up, publication, bar))
        race: list[Callable[[], object]] = [giving_up, opens(lot, bar)]
        _, lost = split(at_once(race))
        assert not lost
        publication.refresh_from_db()
        assert publication.state == "cancelled"
        assert placed_at_harbour(publication, bar) in (0, 6)
        check_counts(publication)
        run.run(publication.pk)
        check_counts(publication)


def test_opening_against_resuming(bar: Bar) -> None:
    versions, head = taking_turns(bar), bar.cast.head_roaster
    for number in range(ROUNDS):
        version = versions[number % 2]
        lot = lot_of(version, head, f"U{number}")
        publication = signing(order_for(version, head, EVERYWHERE, When(lot=lot)), head)()
        stop(by=head, publication=publication, revision=publication.revision, reason="Wait")
        goes_on = partial(
            resume, by=head, publication=publication, revision=publication.revision, reason="Go"
        )
        race: list[Callable[[], object]] = [later(0.003 * (number % 3), goes_on), opens(lot, bar)]
        _, lost = split(at_once(race))
        assert not lost
        assert placed_at_harbour(publication, bar) == 6
        _give_up(publication, bar)


def accepting(calibration: Calibration, seen: str, bar: Bar) -> Calibration:
    who = bar.cast.technician
    return accept_calibration(
        by=who, calibration=calibration, revision=calibration.revision, seen=seen,
        credentials=credentials(who), reason="Yearly round",
    )  # fmt: skip


def test_opening_against_accepting_a_calibration(bar: Bar) -> None:
    """No slot is left with pulses by a value that no longer counts."""
    head, first = bar.cast.head_roaster, bar.stations[0]
    run.run(signing(order_for(bar.version, head, EVERYWHERE), head)().pk)
    for number in range(ROUNDS):
        version = approved(bar.cast, draft(bar.cast, SHORT, bar.version.recipe))
        lot = lot_of(version, head, f"K{number}")
        publication = signing(order_for(version, head, EVERYWHERE, When(lot=lot)), head)()
        measured = measure(first, f"4.{number % 5 + 1}", bar.cast.technician)
        seen = make_retranslation_plan(calibration=measured, by=bar.cast.technician).digest
        race: list[Callable[[], object]] = [
            later(0.003 * (number % 3), partial(accepting, measured, seen, bar)), opens(lot, bar),
        ]  # fmt: skip
        _, lost = split(at_once(race))
        assert all(isinstance(told, Refused | Stale) for told in lost), lost
        assert placed_at_harbour(publication, bar) == 6
        held = Placement.objects.in_force().filter(slot__station=first)
        values = {row.settings.values["water_volume"]["value"] for row in held}
        first.refresh_from_db()
        assert first.pulses_per_millilitre is not None
        assert values == {str(round(first.pulses_per_millilitre * 60))}, lost
        _give_up(publication, bar)
