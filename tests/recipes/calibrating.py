"""A technician's morning, in short: runs, a calibration, its acceptance."""

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from people.persons.models import User
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from stations.calibrations.actions import record_calibration, record_figure
from stations.calibrations.models import Calibration
from stations.calibrations.questions import ask, ask_about_figure
from stations.equipment.models import Slot, Station
from stations.slots.models import Placement
from tests.cast import credentials

GRAMS = (35, 70, 105, 140, 70)
LITTLE = (1, -1, 0, 1, -1)


def runs_at(pulses_per_millilitre: str, scatter: Sequence[int] = LITTLE) -> list[dict[str, str]]:
    """Runs of a meter with about that many pulses per mL, in water of 20 °C.

    A gram there is 1.0028 mL: density 998.2 kg/m³ (IAPWS) less 0.1 % of buoyancy in air.
    """
    slope = Decimal(pulses_per_millilitre) * Decimal("1.0028")
    return [
        {"pulses": str(round(slope * grams) + off), "grams": f"{grams}.0", "temperature": "20.0"}
        for grams, off in zip(GRAMS, scatter, strict=True)
    ]


def measure(
    station: Station,
    pulses_per_millilitre: str,
    by: User,
    scatter: Sequence[int] = LITTLE,
    days: int = 180,
) -> Calibration:
    """A recorded calibration of the flow meter, not decided yet."""
    return record_calibration(
        station=station,
        kind="flow_meter",
        runs=runs_at(pulses_per_millilitre, scatter),
        due_on=timezone.now().date() + timedelta(days=days),
        by=by,
        answers=answers_to(station, "flow_meter", runs_at(pulses_per_millilitre, scatter)),
    )


def answers_to(station: Station, kind: str, runs: Sequence[dict[str, str]]) -> dict[str, str]:
    """An answer to everything that is asked about runs."""
    here = Station.objects.select_related("machine__site").get(pk=station.pk)
    return {asked.key: "Seen so twice" for asked in ask(kind, runs, here)}


def typed_in(station: Station, value: str, by: User, kind: str = "flow_meter") -> Calibration:
    """A figure that somebody typed with a reason, not decided yet."""
    here = Station.objects.select_related("machine__site").get(pk=station.pk)
    asked = ask_about_figure(kind, Decimal(value), here)
    return record_figure(
        by=by, station=here, kind=kind, value=Decimal(value), reason="From its papers",
        due_on=timezone.now().date() + timedelta(days=30),
        answers={one.key: "Seen so twice" for one in asked},
    )  # fmt: skip


def accept(calibration: Calibration, by: User) -> Calibration:
    """Look at what it changes, and sign."""
    plan = make_retranslation_plan(calibration=calibration, by=by)
    return accept_calibration(
        by=by, calibration=calibration, revision=calibration.revision, seen=plan.digest,
        credentials=credentials(by), reason="Yearly round",
    )  # fmt: skip


def holds(slot: Slot | None) -> Placement:
    """What a slot should hold now."""
    rows = Placement.objects.in_force().select_related("settings", "signature", "slot", "site")
    return rows.get(slot=slot)
