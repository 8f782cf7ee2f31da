"""Control charts of check shots: baseline frozen as a recorded act, capability, two stations."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from recipes.publishing import run
from stations.charts.actions import freeze_baseline
from stations.charts.charting import RULES, charts_of, frozen_baseline, shots_of
from stations.charts.comparing import capability_of, sameness
from stations.charts.lineage import contents_of
from stations.charts.models import ChartBaseline
from stations.equipment.models import Slot, Station
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.audit.sealed import unguarded
from tests.bar import Bar, approved, draft
from tests.cast import SignedIn
from tests.publishing import Publish

STEADY = ["36.0", "36.4", "35.8", "36.2", "36.1", "35.9", "36.3", "35.7", "36.2", "36.0"]
CODE = "beverage_mass"


def pull(slot: Slot, bar: Bar, masses: list[str]) -> None:
    for mass in masses:
        shot = Weighed(Decimal("18.0"), Decimal(mass), Decimal(28))
        log_shot(slot=slot, shot=shot, by=bar.cast.head_roaster)


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot under the published version, with ten steady shots."""
    run.run(send().pk)
    found: Slot = bar.slots[0]
    pull(found, bar, STEADY)
    return found


def digest(station: Station) -> str:
    return next(iter(contents_of(station)))


def test_a_shot_noted_without_a_line_stands_where_it_was_pulled(bar: Bar, slot: Slot) -> None:
    unguarded("UPDATE stations_placement SET started_at = now() - interval '1 hour'")
    late = Weighed(Decimal("18.0"), Decimal("39.5"), Decimal(28))
    made = timezone.now() - timedelta(minutes=20)
    log_shot(slot=slot, shot=late, by=bar.cast.head_roaster, made_at=made)
    charts = charts_of(slot.station, digest(slot.station), CODE, RULES["nelson"])
    assert charts is not None
    assert charts.values == [Decimal("39.5"), *map(Decimal, STEADY)]


def test_what_was_brewed_last_is_charted_first(bar: Bar, send: Publish, slot: Slot) -> None:
    was, cast = digest(slot.station), bar.cast
    newer = approved(cast, draft(cast, recipe=bar.version.recipe))
    run.run(send(newer).pk)
    pull(slot, bar, ["36.0"])
    assert list(contents_of(slot.station)) == [newer.content_digest, was]


def test_a_steady_station_gives_no_signal_and_a_shift_does(bar: Bar, slot: Slot) -> None:
    station = slot.station
    freeze_baseline(
        station=station, content_digest=digest(station), code=CODE,
        reason="First ten", by=bar.cast.head_roaster,
    )  # fmt: skip
    steady = charts_of(station, digest(station), CODE, RULES["nelson"])
    assert steady is not None
    assert steady.signalling == 0
    pull(slot, bar, ["39.5"])
    shifted = charts_of(station, digest(station), CODE, RULES["nelson"])
    assert shifted is not None
    assert shifted.frozen is not None
    assert "N1" in [
        one.rule for one in shifted.lines[0].signals
    ]  # newest first; far beyond 3 sigma of the ten
    # The frozen limits did not widen: centre is still the mean of the ten, 36.06.
    assert shifted.baseline.centre == pytest.approx(36.06)


def test_freezing_is_a_recorded_act_of_those_who_may(bar: Bar, slot: Slot) -> None:
    station, content = slot.station, digest(slot.station)
    with pytest.raises(NotPermitted):
        freeze_baseline(
            station=station, content_digest=content, code=CODE, reason="x", by=bar.cast.barista
        )
    with pytest.raises(Invalid, match="reason"):
        freeze_baseline(
            station=station, content_digest=content, code=CODE, reason=" ", by=bar.cast.technician
        )
    with pytest.raises(Refused, match="differ"):
        freeze_baseline(
            station=station, content_digest=content, code="shot_time", reason="all equal",
            by=bar.cast.technician,
        )  # fmt: skip
    made = freeze_baseline(
        station=station, content_digest=content, code=CODE, reason="New burrs",
        by=bar.cast.technician,
    )  # fmt: skip
    assert frozen_baseline(station, content, CODE) == made
    entry = Entry.objects.filter(table_name="stations_chartbaseline").get()
    assert (entry.action, entry.reason) == ("chart.baseline_frozen", "New burrs")
    with pytest.raises(IntegrityError):
        ChartBaseline.objects.filter(pk=made.pk).update(centre=40)


def test_capability_is_honest_about_few_shots(slot: Slot) -> None:
    shots = shots_of(slot.station, digest(slot.station), CODE)
    told = capability_of(shots[:5], CODE)
    assert told is not None
    assert "interval itself is rough" in told.sentence
    assert capability_of(shots, "strength") is None


def test_a_station_is_the_same_as_itself_within_a_wide_margin_only(slot: Slot) -> None:
    shots = shots_of(slot.station, digest(slot.station), CODE)
    wide, narrow = (sameness(shots, shots, CODE, Decimal(m)) for m in ("1", "0.05"))
    assert wide is not None
    assert narrow is not None
    assert (wide.result.conclusion, narrow.result.conclusion) == ("equivalent", "not shown yet")
    assert wide.low < 0 < wide.high
    assert wide.shots_needed is None
    # Normal approximation 2 (z.95 + z.90)² / (margin/spread)², computed by hand as for references
    # 5.6; the exact answer lies a shot or two above it.
    few = 2 * (1.6449 + 1.2816) ** 2 / (0.05 / narrow.spread) ** 2
    assert few <= (narrow.shots_needed or 0) <= few + 3
    assert sameness(shots, [], CODE, Decimal(1)) is None


def test_the_page(bar: Bar, slot: Slot, signed_in: SignedIn) -> None:
    path = f"/stations/{slot.station_id}/"
    browser = signed_in(bar.cast.head_roaster)
    page = browser.get(f"{path}charts/?beside={bar.slots[-1].station_id}").content.decode()
    assert "No baseline is frozen" in page
    assert "Too few shots to compare" in page
    content = digest(slot.station)
    typed = {"reason": "First ten", "content": content, "value": CODE, "newest": "10"}
    assert browser.post(f"{path}baseline/", typed).status_code == 302
    assert "frozen by Head roaster" in browser.get(f"{path}charts/").content.decode()
    assert browser.get(f"{path}charts/?value=colour").status_code == 400
    barista = signed_in(bar.cast.barista)
    assert barista.get(f"{path}charts/").status_code == 200
    assert barista.post(f"{path}baseline/", typed).status_code == 403
    assert signed_in(bar.cast.other_lead).get(f"{path}charts/").status_code == 404


def test_a_new_baseline_is_of_the_newest_shots_and_charts_begin_with_it(
    bar: Bar, slot: Slot
) -> None:
    """As after new burrs: what was poured before is neither in the limits nor a signal."""
    station, content = slot.station, digest(slot.station)
    pull(slot, bar, ["40.1", "40.3", "39.9", "40.2", "40.0"])
    frozen = freeze_baseline(
        station=station, content_digest=content, code=CODE, reason="New burrs", newest=5,
        by=bar.cast.head_roaster,
    )  # fmt: skip
    # By hand: 200.5 / 5.
    assert (frozen.shots, frozen.centre) == (5, Decimal("40.1"))
    told = charts_of(station, content, CODE, RULES["nelson"])
    assert told is not None
    assert [line.value for line in told.lines] == [
        Decimal(mass) for mass in ("40.0", "40.2", "39.9", "40.3", "40.1")
    ]
    assert told.signalling == 0
    for odd in (1, 0, -3, 201):
        with pytest.raises(Invalid, match="newest"):
            freeze_baseline(
                station=station, content_digest=content, code=CODE, reason="x", newest=odd,
                by=bar.cast.head_roaster,
            )  # fmt: skip


def test_the_page_freezes_from_the_newest(bar: Bar, slot: Slot, signed_in: SignedIn) -> None:
    browser, station = signed_in(bar.cast.technician), slot.station
    page = f"/stations/{station.pk}/charts/"
    sent = {"content": digest(station), "value": CODE, "reason": "New burrs", "newest": "6"}
    told = browser.post(f"/stations/{station.pk}/baseline/", sent)
    assert told.status_code == 302
    shown = browser.get(page).content.decode()
    assert "Frozen baselines, newest first" in shown
    assert "New burrs" in shown
    assert (
        browser.post(f"/stations/{station.pk}/baseline/", sent | {"newest": "1"}).status_code == 400
    )


def test_no_moving_range_bridges_a_left_out_shot(bar: Bar, slot: Slot, signed_in: SignedIn) -> None:
    """Limits and the chart of ranges compare shots that followed one another; the page says so."""
    for at, mass in enumerate(["50.0", "50.4", "58.0", "49.8", "50.2"]):
        weighed = Weighed(Decimal(18), Decimal(mass), Decimal(28), left_out=at == 2)
        log_shot(slot=slot, shot=weighed, by=bar.cast.barista)
    found = charts_of(slot.station, digest(slot.station), CODE, RULES["nelson"])
    assert found
    assert found.ranges
    assert (found.gaps, found.range_places) == ({13}, [*range(2, 13), 14])
    assert list(found.ranges.plotted[-2:]) == pytest.approx([0.4, 0.4])
    told = [line.range for line in found.lines[:3]]
    assert told == [Decimal("0.40"), None, Decimal("0.40")]
    words = signed_in(bar.cast.barista).get(f"/stations/{slot.station_id}/charts/").content.decode()
    assert "Shots were left out before 1 of these. No moving range bridges a left-out shot" in words
    assert "after one left out" in words
