"""A new version: what its charts carry over, why they start anew, and drifts that stay open."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import TestCase

from recipes.formula.parameters import PARAMETERS
from recipes.publishing import run
from recipes.versions.models import Version
from stations.charts.charting import RULES, charts_of, frozen_baseline, lineage_at, shots_of
from stations.charts.drifting import note_all_drifts
from stations.charts.lineage import RESTS_ON, Change, Earlier, lineage_of
from stations.charts.matters import drifting
from stations.charts.models import ChartBaseline, Drift
from stations.equipment.models import Slot
from stations.metrology.formula import BASKET, BEVERAGE, DOSE, SHOT_TIME, WATER
from stations.shots.actions import correct_shot
from tests.audit.sealed import unguarded
from tests.bar import DOUBLE, Bar, approved, draft
from tests.cast import SignedIn
from tests.publishing import Publish
from tests.recipes.publishing.hands import other_version
from tests.stations.charts.test_drift import STEADY, freeze, pull, weighed

CODE = "beverage_mass"


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot whose station has a frozen baseline."""
    run.run(send().pk)
    found: Slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    pull(found, bar.cast.head_roaster, *STEADY)
    freeze(found, bar.cast.head_roaster)
    return found


def next_version(bar: Bar, send: Publish, **targets: str) -> Version:
    """The recipe's next version with these targets, in force everywhere."""
    formula: Mapping[str, tuple[str, str | None, str | None]] = {
        **DOUBLE, **{code: (target, "2", "2") for code, target in targets.items()},
    }  # fmt: skip
    made = approved(bar.cast, draft(bar.cast, formula, bar.version.recipe))
    run.run(send(made).pk)
    return made


def drifts() -> list[tuple[str, bool]]:
    return [(one.content_digest, one.held) for one in Drift.objects.current()]


def test_a_baseline_and_its_shots_carry_over(bar: Bar, slot: Slot, send: Publish) -> None:
    """Neither a temperature nor another tolerance is what a yield ended by water rests on."""
    newer = next_version(bar, send, brew_temperature="92.0")
    [far] = pull(slot, bar.cast.barista, "53.0")
    old = ChartBaseline.objects.get()
    assert frozen_baseline(slot.station, newer.content_digest, CODE) == old
    found = charts_of(slot.station, newer.content_digest, CODE, RULES["nelson"])
    assert found
    assert (len(found.shots), found.shots[-1]) == (len(STEADY) + 1, far)
    assert found.signals_at[len(STEADY) + 1]
    assert drifts() == [(newer.content_digest, True)]
    # A time rests on the temperature.
    assert shots_of(slot.station, newer.content_digest, "shot_time") == [far]
    assert lineage_at(slot.station, newer.content_digest, "shot_time").why_anew == (
        "brew temperature 93.0\u00a0°C → 92.0\u00a0°C"
    )


def test_another_dose_starts_anew_and_the_page_says_why(
    bar: Bar, slot: Slot, send: Publish, signed_in: SignedIn
) -> None:
    newer = next_version(bar, send, dose_mass="19.0")
    pull(slot, bar.cast.barista, "50.0", "50.4", "49.9")
    assert frozen_baseline(slot.station, newer.content_digest, CODE) is None
    page = signed_in(bar.cast.head_roaster).get(f"/stations/{slot.station_id}/charts/")
    words = page.content.decode().replace("\u00a0", " ")
    assert "Starts anew: dose 18.0 g → 19.0 g since version 1." in words


def test_the_page_says_what_carries_over_and_on_what_it_rests(
    bar: Bar, slot: Slot, send: Publish, signed_in: SignedIn
) -> None:
    next_version(bar, send, brew_temperature="92.0")
    pull(slot, bar.cast.barista, "50.0")
    page = signed_in(bar.cast.head_roaster).get(f"/stations/{slot.station_id}/charts/")
    words = page.content.decode()
    assert "Carries over from version 1: Yield rests on dose, basket, what ends the shot" in words


def test_what_was_never_brewed_there_ends_nothing(bar: Bar, slot: Slot, send: Publish) -> None:
    """Another dose that this station never poured stands between two of the same."""
    approved(bar.cast, draft(bar.cast, {**DOUBLE, DOSE: ("20", "1", "1")}, bar.version.recipe))
    newer = next_version(bar, send)
    assert frozen_baseline(slot.station, newer.content_digest, CODE) is not None


def test_publishing_silences_no_drift(bar: Bar, slot: Slot, send: Publish) -> None:
    """Whatever takes over: the same recipe with another dose, which starts its charts anew."""
    pull(slot, bar.cast.barista, "53.0")
    newer = next_version(bar, send, dose_mass="19.0", beverage_mass="50.0")
    assert drifts() == [(bar.version.content_digest, False)]
    note_all_drifts()
    pull(slot, bar.cast.barista, "53.0", *["50.0"] * 4)
    assert drifts() == [(bar.version.content_digest, False)]
    pull(slot, bar.cast.barista, "50.1")  # the fifth in a row within tolerance
    assert drifts() == []
    note_all_drifts()
    assert drifts() == []
    assert newer.content_digest != bar.version.content_digest


def test_another_recipe_silences_it_neither(bar: Bar, slot: Slot, send: Publish) -> None:
    pull(slot, bar.cast.barista, "53.0")
    run.run(send(other_version(bar)).pk)  # 30 g, 2 g either way
    pull(slot, bar.cast.barista, *["30.5"] * 4)
    assert drifts() == [(bar.version.content_digest, False)]
    pull(slot, bar.cast.barista, "30.0")
    assert drifts() == []


@pytest.mark.parametrize("charted", [False, True])
def test_going_back_to_earlier_settings_silences_it_neither(
    bar: Bar, send: Publish, *, charted: bool
) -> None:
    """What was pulled under them before the drift says nothing of it, with a chart or without."""
    by, earlier = bar.cast.head_roaster, other_version(bar)
    slot = Slot.objects.with_equipment().get(pk=bar.slots[0].pk)
    run.run(send(earlier).pk)
    pull(slot, by, *["30.0", "30.2"] * 4)
    if charted:
        freeze(slot, by)
    run.run(send(bar.version).pk)
    pull(slot, by, *STEADY)
    freeze(slot, by)
    pull(slot, by, "53.0")
    run.run(send(earlier).pk)
    note_all_drifts()
    assert drifts() == [(bar.version.content_digest, False)]
    pull(slot, by, *["30.0", "30.2"] * 2)
    assert drifts() == [(bar.version.content_digest, False)]
    pull(slot, by, "30.1")
    assert drifts() == []


def test_a_chart_that_carries_over_judges_it_on(bar: Bar, slot: Slot, send: Publish) -> None:
    """One matter, heard of once: under the new version the same drift goes on."""
    pull(slot, bar.cast.barista, "53.0")
    [before] = drifting()
    newer = next_version(bar, send, brew_temperature="92.0")
    [between] = drifting()
    pull(slot, bar.cast.barista, "52.9")
    [after] = drifting()
    assert before.key == between.key == after.key
    assert drifts() == [(newer.content_digest, True)]
    pull(slot, bar.cast.barista, *["49.9", "50.2"] * 8)
    assert drifts() == []
    note_all_drifts()
    assert drifts() == []


def test_a_baseline_frozen_under_the_new_settings_clears_it(
    bar: Bar, slot: Slot, send: Publish
) -> None:
    pull(slot, bar.cast.barista, "53.0")
    next_version(bar, send, dose_mass="19.0")
    pull(slot, bar.cast.barista, "52.0", "52.4")
    assert len(drifts()) == 1
    freeze(slot, bar.cast.technician)
    pull(slot, bar.cast.barista, "52.2")
    assert drifts() == []


def test_a_correction_takes_back_what_was_open(bar: Bar, slot: Slot, send: Publish) -> None:
    [far] = pull(slot, bar.cast.barista, "53.0")
    next_version(bar, send, dose_mass="19.0")
    by = bar.cast.barista
    with TestCase.captureOnCommitCallbacks(execute=True):
        correct_shot(shot=far, seen_corrections=0, to=weighed("50.3"), reason="Typed", by=by)
    assert drifts() == []


def test_an_open_drift_is_shown_where_its_slot_is(
    bar: Bar, slot: Slot, send: Publish, signed_in: SignedIn
) -> None:
    pull(slot, bar.cast.barista, "53.0")
    next_version(bar, send, dose_mass="19.0", beverage_mass="50.0")
    pull(slot, bar.cast.barista, "50.0")
    lead = signed_in(bar.cast.shop_lead)
    assert "Yield drifts, not cleared yet" in lead.get(slot.get_absolute_url()).content.decode()
    words = lead.get(f"/stations/{slot.station_id}/charts/").content.decode()
    assert "It stays until 5 shots in a row" in words
    assert "(1 so far)" in words
    assert "After two weeks without a shot it is no longer shown" in words
    unguarded("UPDATE stations_drift SET uncleared_at = uncleared_at - interval '15 days'")
    unguarded("UPDATE stations_checkshot SET at = at - interval '15 days'")
    assert drifts() == []


def test_where_the_clock_ends_the_shot_its_yield_rests_on_what_makes_it_flow() -> None:
    warmer = Change("brew_temperature", "Brew temperature", "Cel", Decimal(92), Decimal(93))
    by_time = Earlier("1" * 64, "version 1", (warmer,), frozenset({SHOT_TIME}))
    by_water = replace(by_time, ends_at=frozenset({WATER}))
    by_hand = replace(by_time, ends_at=frozenset({BEVERAGE, SHOT_TIME}))
    for earlier, carries in ((by_time, False), (by_water, True), (by_hand, True)):
        found = lineage_of("2" * 64, [earlier], BEVERAGE)
        assert bool(found.carried) == carries, earlier.ends_at
        assert (found.rests_on(BEVERAGE) == RESTS_ON[BEVERAGE]) == carries


def test_what_values_rest_on_is_registered() -> None:
    assert {BASKET, *RESTS_ON} - {"strength"} <= PARAMETERS.keys()
