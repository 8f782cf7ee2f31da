"""Drift: noted with every shot, shown where somebody looks, gone when it is over."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from functools import partial
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import TestCase
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.persons.models import User
from recipes.overview.home import work_lists
from recipes.publishing import run
from stations.charts.actions import freeze_baseline
from stations.charts.drifting import note_drift
from stations.charts.lineage import contents_of
from stations.charts.models import Drift
from stations.equipment.models import Slot
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.by_hand import set_by_hand
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish
from tests.races import at_once
from tests.services import rounds

# Standard deviation 0.2 to 0.3 g by the moving range: 53 g is far outside, 50.1 g is not.
STEADY = ["50.0", "50.4", "49.8", "50.2", "50.1", "49.9", "50.3", "49.7"]


def weighed(mass: str) -> Weighed:
    return Weighed(Decimal("18.0"), Decimal(mass), Decimal(28))


def pull(slot: Slot, by: User, *masses: str) -> list[CheckShot]:
    """Logged one by one, with what follows once each is written."""
    made = []
    for mass in masses:
        with TestCase.captureOnCommitCallbacks(execute=True):
            made.append(log_shot(slot=slot, shot=weighed(mass), by=by))
    return made


def freeze(slot: Slot, by: User) -> str:
    content = next(iter(contents_of(slot.station)))
    with TestCase.captureOnCommitCallbacks(execute=True):
        freeze_baseline(
            station=slot.station, content_digest=content, code="beverage_mass", reason="New", by=by
        )
    return content


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot whose station has a frozen baseline."""
    run.run(send().pk)
    found: Slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    pull(found, bar.cast.head_roaster, *STEADY)
    freeze(found, bar.cast.head_roaster)
    return found


def test_one_that_came_late_is_not_the_newest(bar: Bar, slot: Slot) -> None:
    unguarded("UPDATE stations_placement SET started_at = now() - interval '1 hour'")
    pull(slot, bar.cast.head_roaster, "50.1", "50.0", "49.9", "50.2", "50.0", "50.1")
    made = timezone.now() - timedelta(minutes=20)
    with TestCase.captureOnCommitCallbacks(execute=True):
        log_shot(slot=slot, shot=weighed("53"), by=bar.cast.head_roaster, made_at=made)
    assert not Drift.objects.exists()


def test_it_comes_and_goes_with_the_newest_shots(bar: Bar, slot: Slot) -> None:
    by = bar.cast.barista
    pull(slot, by, "50.1")
    assert not Drift.objects.exists()
    [far] = pull(slot, by, "53.0")
    found = Drift.objects.get()
    assert (found.shot_id, found.code, found.site_id) == (far.pk, "beverage_mass", bar.cast.site.pk)
    assert "beyond" in found.rules
    # Later it is no news any more, and the EWMA is back within its limits.
    pull(slot, by, *["49.9", "50.2"] * 8)
    assert not Drift.objects.exists()


def test_a_correction_takes_it_back(bar: Bar, slot: Slot) -> None:
    by = bar.cast.barista
    [far] = pull(slot, by, "53.0")
    with TestCase.captureOnCommitCallbacks(execute=True):
        correct_shot(shot=far, seen_corrections=0, to=weighed("50.3"), reason="Typed", by=by)
    assert not Drift.objects.exists()


def test_a_new_baseline_starts_afresh(bar: Bar, slot: Slot) -> None:
    pull(slot, bar.cast.barista, "53.0")
    freeze(slot, bar.cast.technician)
    assert not Drift.objects.exists()


def test_it_is_on_every_page_where_somebody_looks(
    bar: Bar, slot: Slot, signed_in: SignedIn
) -> None:
    lead, outsider = signed_in(bar.cast.shop_lead), signed_in(bar.cast.other_lead)
    places = (
        f"/sites/{bar.cast.site.pk}/",
        f"/stations/{slot.station_id}/",
        slot.get_absolute_url(),
    )
    for place in places:
        assert "drifts" not in lead.get(place).content.decode()
    pull(slot, bar.cast.barista, "53.0")
    for place in places:
        page = lead.get(place).content.decode()
        assert "Yield drifts" in page
        assert f"/stations/{slot.station_id}/charts/?value=beverage_mass" in page
    assert "1 drifts" in lead.get("/board/").content.decode()
    assert str(bar.cast.site) in lead.get("/board/?show=drifts").content.decode()
    assert "1 drifts" not in outsider.get("/board/").content.decode()
    assert "Cups that drift" in titles(bar.cast.head_roaster) & titles(bar.cast.shop_lead)
    assert "Cups that drift" not in titles(bar.cast.other_lead)


def titles(user: User) -> set[str]:
    return {one.title for one in work_lists(user) if one.items}


def test_what_is_over_is_not_shown(bar: Bar, slot: Slot, monkeypatch: pytest.MonkeyPatch) -> None:
    pull(slot, bar.cast.barista, "53.0")
    assert Drift.objects.current().exists()
    monkeypatch.setattr("stations.charts.models.LATELY", -timedelta(seconds=1))
    assert not Drift.objects.current().exists()


def test_the_command_works_it_out_anew(bar: Bar, slot: Slot) -> None:
    pull(slot, bar.cast.barista, "53.0")
    Drift.objects.all().delete()
    told = StringIO()
    call_command("note_drifts", stdout=told)
    assert told.getvalue() == "1 of the charts signal.\n"
    assert Drift.objects.count() == 1


def test_a_fault_of_the_chart_never_loses_the_shot(
    bar: Bar, slot: Slot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("no chart today")

    monkeypatch.setattr("stations.charts.drifting.note_drift", fails)
    [shot] = pull(slot, bar.cast.barista, "53.0")
    assert CheckShot.objects.filter(pk=shot.pk).exists()


def test_noting_asks_no_more_with_many_shots(bar: Bar, slot: Slot) -> None:
    content = next(iter(contents_of(slot.station)))

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            note_drift(slot.station_id, content)
        return len(queries)

    few = asked()
    pull(slot, bar.cast.barista, *STEADY, *STEADY)
    assert few == asked() <= 8


def test_a_slot_set_by_hand_has_no_chart(bar: Bar, slot: Slot) -> None:
    free = Slot.objects.create(station=slot.station, number=9)
    free = Slot.objects.with_equipment().get(pk=free.pk)
    set_by_hand(
        slot=free, values={"water_volume": "281", "ends_by": "volume"}, by=bar.cast.shop_lead
    )
    pull(free, bar.cast.barista, "53.0")
    assert not Drift.objects.exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("quiet")
def test_two_shots_at_once_are_both_seen(bar: Bar, send: Publish) -> None:
    """Whoever comes last has seen both, in whatever order they were written."""
    run.run(send().pk)
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    by = bar.cast.head_roaster
    for mass in STEADY:
        log_shot(slot=slot, shot=weighed(mass), by=by)
    content = next(iter(contents_of(slot.station)))
    freeze_baseline(
        station=slot.station, content_digest=content, code="beverage_mass", reason="New", by=by
    )
    for turn in range(rounds(60, 6)):
        far, near = ("53.0", "50.0") if turn % 2 else ("50.0", "50.0")
        race: list[Callable[[], CheckShot]] = [
            partial(log_shot, slot=slot, shot=weighed(mass), by=by) for mass in (far, near)
        ]
        outcomes = at_once(race)
        assert all(isinstance(told, CheckShot) for told in outcomes), outcomes
        kept = Drift.objects.values_list("shot_id", "rules")
        seen = list(kept)
        note_drift(slot.station_id, content)
        assert seen == list(kept)
