"""Accepting a calibration: the station's traits and its slots, in one signed step."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import Error, transaction
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from people.persons.models import User
from people.signatures.models import Signature
from people.signatures.signing import Credentials
from recipes.publishing import run
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from recipes.versions.holding import slots_holding
from stations.calibrations.actions import record_barometer, record_calibration, reject_calibration
from stations.calibrations.models import Calibration
from stations.equipment.actions import change_site
from stations.equipment.models import Slot, Station
from stations.slots.by_hand import place_by_hand
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import credentials
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, holds, measure, runs_at
from tests.recipes.permits.test_permits import permit

__all__ = ["send"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def test_every_slot_of_the_station_is_translated_anew(placed: Bar) -> None:
    here, elsewhere = placed.stations[0], placed.stations[1].slots.first()
    before, apart = holds(here.slots.first()), holds(elsewhere)
    assert before.settings.values["water_volume"]["value"] == "280"  # 70 mL at 4 pulses per mL
    made = accept(measure(here, "4.2", placed.cast.technician), placed.cast.technician)
    for slot in here.slots.all():
        now = holds(slot)
        assert now.settings.values["water_volume"]["value"] == "294"
        assert (now.basis, now.basis_id, now.verdict) == ("re_translation", made.pk, "unread")
        assert now.settings.content_digest == before.settings.content_digest
        assert now.settings.cup == before.settings.cup
        assert now.signature is not None
        assert now.signature.digest == made.plan_digest
    before.refresh_from_db()
    assert before.state == "ended"
    assert holds(elsewhere).pk == apart.pk
    assert slots_holding(placed.version) == Slot.objects.count()


def test_the_station_gets_value_uncertainty_and_repeatability(placed: Bar) -> None:
    made = accept(
        measure(placed.stations[0], "4.2", placed.cast.technician), placed.cast.technician
    )
    station = Station.objects.get(pk=placed.stations[0].pk)
    kept = (station.pulses_per_millilitre, station.slope_uncertainty, station.repeatability)
    assert kept == (made.value, made.uncertainty, made.repeatability)
    assert abs(made.value - Decimal("4.2")) < Decimal("0.01")
    entry = Entry.objects.get(table_name="stations_station", action="calibration.accepted")
    assert entry.changes["pulses_per_millilitre"] == ["4.00", str(made.value)]
    assert entry.signature_id == made.signature_id


def test_what_the_machine_cannot_hold_is_refused_and_stays(placed: Bar) -> None:
    """At 40 pulses per mL, 70 mL are 2,800 pulses: above the machine's 2,000."""
    station, who = placed.stations[0], placed.cast.technician
    before = {slot.pk: holds(slot).pk for slot in station.slots.all()}
    measured = measure(station, "40", who)
    plan = make_retranslation_plan(calibration=measured, by=who)
    assert {line.outcome for line in plan.lines} == {"refuse"}
    assert "2,000" in plan.lines[0].reasons[0]
    accept(measured, who)
    assert {slot.pk: holds(slot).pk for slot in station.slots.all()} == before


def test_a_calibration_too_uncertain_for_the_tolerance_is_refused_for_the_slot(
    placed: Bar,
) -> None:
    """The recipe allows 2 mL either way; runs that scatter by 5 % cannot promise that."""
    who = placed.cast.technician
    measured = measure(placed.stations[0], "4.0", who, scatter=[15, -15, 14, -16, 12])
    plan = make_retranslation_plan(calibration=measured, by=who)
    assert {line.outcome for line in plan.lines} == {"refuse"}
    assert "can't be held with this station's calibration" in plan.lines[0].reasons[0]


def test_the_same_settings_stay(placed: Bar) -> None:
    before = holds(placed.slots[0])
    accept(measure(placed.stations[0], "4.0", placed.cast.technician), placed.cast.technician)
    assert holds(placed.slots[0]).pk == before.pk


def test_permits_and_hand_set_slots_are_left_and_named(placed: Bar) -> None:
    first, second = placed.stations[0].slots.all()
    granted = permit([first], placed.cast.head_roaster)
    free = Slot.objects.create(station=placed.stations[0], number=3)
    values = {"water_volume": {"value": "270", "unit": "{pulse}"}}
    place_by_hand(slot=free, values=values, by=placed.cast.shop_lead)
    who = placed.cast.technician
    measured = measure(placed.stations[0], "4.2", who)
    plan = make_retranslation_plan(calibration=measured, by=who)
    assert [str(line.outcome) for line in plan.lines] == ["fall_back", "place", "leave"]
    assert f"permit {granted.pk}" in plan.lines[0].reasons[0]
    accept(measured, who)
    assert [holds(slot).basis for slot in (first, second, free)] == [
        "permit", "re_translation", "by_hand",
    ]  # fmt: skip


def test_what_moved_since_it_was_seen_is_not_signed(placed: Bar, send: Publish) -> None:
    who = placed.cast.technician
    measured = measure(placed.stations[0], "4.2", who)
    seen = make_retranslation_plan(calibration=measured, by=who).digest
    permit([placed.slots[0]], placed.cast.head_roaster)
    with pytest.raises(Refused, match="moved"):
        accept_calibration(
            by=who, calibration=measured, revision=1, seen=seen, credentials=credentials(who)
        )


def test_it_is_decided_once(placed: Bar) -> None:
    who = placed.cast.technician
    made = accept(measure(placed.stations[0], "4.2", who), who)
    with pytest.raises(Refused, match="accepted already"):
        accept(made, who)
    with pytest.raises(Refused, match="accepted already"):
        reject_calibration(calibration=made, revision=made.revision, reason="No", by=who)


def test_a_rejected_one_changes_nothing(placed: Bar) -> None:
    who, before = placed.cast.technician, holds(placed.slots[0])
    measured = measure(placed.stations[0], "4.2", who)
    with pytest.raises(Stale):
        reject_calibration(calibration=measured, revision=9, reason="Leak", by=who)
    made = reject_calibration(calibration=measured, revision=1, reason="Leak", by=who)
    assert (made.state, made.reason) == ("rejected", "Leak")
    assert holds(placed.slots[0]).pk == before.pk
    assert Station.objects.get(pk=made.station_id).slope_uncertainty is None


@pytest.mark.parametrize("who", ["shop_lead", "barista", "owner", "other_lead"])
def test_only_technicians_and_roasters_decide(placed: Bar, who: str) -> None:
    person: User = getattr(placed.cast, who)
    with pytest.raises(NotPermitted):
        measure(placed.stations[0], "4.2", person)
    measured = measure(placed.stations[0], "4.2", placed.cast.technician)
    with pytest.raises(NotPermitted):
        accept_calibration(
            by=person, calibration=measured, revision=1, seen="0" * 64,
            credentials=credentials(person),
        )  # fmt: skip


def test_a_wrong_password_accepts_nothing(placed: Bar) -> None:
    who = placed.cast.technician
    measured = measure(placed.stations[0], "4.2", who)
    seen = make_retranslation_plan(calibration=measured, by=who).digest
    wrong = Credentials(password="guess", identification=who.email)
    with pytest.raises(Invalid, match="password"):
        accept_calibration(
            by=who, calibration=measured, revision=1, seen=seen, credentials=wrong, reason="x"
        )
    assert Station.objects.get(pk=measured.station_id).pulses_per_millilitre == Decimal("4.00")


def test_no_other_signature_places_a_re_translation(placed: Bar) -> None:
    """Invariant 5: not the publication's, nor another calibration's."""
    who = placed.cast.technician
    made = accept(measure(placed.stations[0], "4.2", who), who)
    held = holds(placed.stations[1].slots.first())
    for signature in Signature.objects.filter(meaning__in=["published", "re_translated"]):
        with pytest.raises(Error), transaction.atomic():
            Placement.objects.create(
                slot=held.slot, site=held.site, settings=held.settings, basis="re_translation",
                manner="renews",
                basis_id=made.pk + 1, signature=signature, due_at=timezone.now(),
            )  # fmt: skip


def test_a_measured_temperature_moves_the_setting(placed: Bar) -> None:
    """93.0 °C at an offset of -0.8 °C is set as 93.8 °C."""
    who, station = placed.cast.technician, placed.stations[0]
    readings = [
        {"displayed": "93.0", "measured": measured}
        for measured in ("92.2", "92.1", "92.3", "92.2", "92.2")
    ]
    due = timezone.now().date() + timedelta(days=180)
    measured = record_calibration(
        station=station, kind="temperature", runs=readings, due_on=due, by=who
    )
    assert measured.value == Decimal("-0.800")
    accept(measured, who)
    values = holds(station.slots.first()).settings.values
    assert values["brew_temperature"]["value"] == "93.8"
    assert values["water_volume"]["value"] == "280"


def test_runs_are_kept_as_they_were_typed(placed: Bar) -> None:
    measured = measure(placed.stations[0], "4.2", placed.cast.technician)
    measured.refresh_from_db()
    assert measured.runs == runs_at("4.2")


def test_a_temperature_that_is_above_boiling_by_now_is_accepted_by_name(placed: Bar) -> None:
    here, who = placed.stations[0], placed.cast.technician
    site = here.machine.site
    # 93 °C is the target; at 700 hPa water boils near 90 °C (IAPWS). Nobody reads that by the sea.
    change_site(
        by=placed.cast.owner, site=site, revision=site.revision, name=site.name,
        time_zone=site.time_zone, altitude=Decimal(3000),
    )  # fmt: skip
    record_barometer(
        site=site, air_pressure="700", read_on=timezone.now().date() - timedelta(days=1),
        by=who, revision=site.revision,
    )  # fmt: skip
    measured = measure(here, "4.2", who, scatter=(1, 0, -1, 0, 1))  # nothing else to note
    plan = make_retranslation_plan(calibration=measured, by=who)
    assert len(plan.concerns) == 1
    assert "above boiling" in plan.concerns[0]
    with pytest.raises(Invalid, match="above boiling"):
        accept_calibration(
            by=who, calibration=measured, revision=measured.revision, seen=plan.digest,
            credentials=credentials(who),
        )  # fmt: skip
    assert holds(here.slots.first()).basis == "publication"
    accept(measured, who)  # with a reason
    assert holds(here.slots.first()).basis == "re_translation"


def test_an_accepted_calibration_is_never_removed(placed: Bar) -> None:
    """Placements are under it."""
    who = placed.cast.technician
    made = accept(measure(placed.stations[0], "4.2", who), who)
    with pytest.raises(Error, match="stays, and is decided once"), transaction.atomic():
        Calibration.objects.filter(pk=made.pk).delete()
