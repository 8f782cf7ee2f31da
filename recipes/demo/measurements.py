"""What the demo's technician measured and its baristas weighed. Invented, within common practice."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from recipes.coffees.models import Coffee
from recipes.demo.people import Cast
from recipes.modelling.actions import ask_for_fit
from recipes.modelling.simulator import TrueStation
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from recipes.versions.models import Version
from stations.calibrations.actions import record_barometer, record_calibration
from stations.calibrations.models import Calibration
from stations.charts.actions import freeze_baseline
from stations.equipment.models import Site, Slot, Station
from stations.grinders.actions import add_grinder
from stations.lots.actions import open_lot
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot

GRAMS = (35, 70, 105, 140, 70, 105)
SCATTER = (1, -1, 0, 1, 0, -1)
# 1 g of water at 18 °C, weighed in air, is 1.0025 mL.
MILLILITRES = Decimal("1.0025")

# Site, machine, station, days until it has to be repeated.
ACCEPTED = (
    ("harbour", "Front counter", 1, 150),
    ("harbour", "Front counter", 2, 150),
    ("tramway", "Window", 1, 12),
    ("summit", "Cable car hall", 1, 120),
)

# Dose, beverage, time, dissolved solids: a morning at Harbour, the fourth one too long.
SHOTS = (
    ("18.0", "37.6", "28.1", "9.1"),
    ("18.1", "38.4", "27.4", ""),
    ("18.0", "38.0", "28.6", "9.0"),
    ("17.9", "41.2", "24.0", ""),
    ("18.1", "37.9", "28.0", "9.2"),
)

# Two more stations at Harbour pour by the bar simulator. The third's burrs wear at the end, so that
# it runs faster than its baseline says.
STEADY = TrueStation(grind=11.8, absorbs=1.65, slow_rate=0.1)
WORN = replace(STEADY, grind=12.6)
STEADY_SHOTS, FIRST_SHOTS, WORN_SHOTS = 34, 24, 8


@dataclass(frozen=True)
class Measurements:
    """Who measured, where, on which day."""

    cast: Cast
    sites: dict[str, Site]
    today: date

    def calibrate(self) -> None:
        """Before anything is published: some meters and one thermometer, and a barometer."""
        for site, machine, number, days in ACCEPTED:
            station = self._station(site, machine, number)
            slope = station.pulses_per_millilitre or Decimal(4)
            self._accept(self._flow_meter(station, slope, days))
        self._accept(self._thermometer(self._station("harbour", "Front counter", 1)))
        summit = self.sites["summit"]
        record_barometer(
            by=self.cast["technician"],
            site=summit,
            revision=summit.revision,
            air_pressure=Decimal("779.4"),
            read_on=self.today - timedelta(days=1),
        )

    def set_grinders(self, coffee: Coffee) -> None:
        """Harbour's front counter has a grinder, with the newest bag of the house coffee open."""
        site, by = self.sites["harbour"], self.cast["lead_harbour"]
        front = Station.objects.filter(machine__site=site, machine__name="Front counter")
        grinder = add_grinder(
            by=self.cast["owner"], site=site, name="House grinder", finer="lower",
            stations=list(front.select_related("machine")), setting=Decimal("11.5"),
            step=Decimal("0.5"), marks_per_turn=Decimal(24), micrometres_per_mark=Decimal(12),
        )  # fmt: skip
        lot = coffee.lots.all()[0]
        open_lot(by=by, at=grinder, seen_opening=None, code=lot.code, coffee=coffee.name)

    def leave_one_to_decide(self) -> None:
        """A cleaned meter gives other pulses: accepting it would translate its slots anew."""
        self._flow_meter(self._station("tramway", "Long bar", 2), Decimal("4.08"), 180)

    def pull_shots(self, slot: Slot) -> None:
        """A barista's morning, one typing slip put right."""
        by = self.cast["barista"]
        shots = [log_shot(by=by, slot=slot, shot=_weighed(*each)) for each in SHOTS]
        self._put_right(shots[3])

    def simulate_mornings(self, version: Version, slot_number: int) -> None:
        """Enough shots for a fit at one station, and a drift from its baseline at another."""
        formula, by = version.stated, self.cast["barista"]
        steady, worn = (self._station("harbour", "Front counter", number) for number in (2, 3))
        lead, technician = self.cast["lead_harbour"], self.cast["technician"]

        def pull(station: Station, true: TrueStation, count: int, seed: int) -> None:
            slot = station.slots.get(number=slot_number)
            for shot in true.pull(formula, count, seed=seed):
                log_shot(by=by, slot=slot, shot=shot)

        pull(steady, STEADY, STEADY_SHOTS, seed=2)
        ask_for_fit(by=lead, station=steady, version=version)
        pull(worn, STEADY, FIRST_SHOTS, seed=3)
        for code in ("shot_time", "beverage_mass"):
            freeze_baseline(
                by=technician,
                station=worn,
                content_digest=version.content_digest,
                code=code,
                reason=f"New burrs: the first {FIRST_SHOTS} shots.",
            )
        pull(worn, WORN, WORN_SHOTS, seed=4)

    def _put_right(self, shot: CheckShot) -> None:
        right = Weighed(shot.dose_mass, shot.beverage_mass, Decimal("27.0"), note="Ran long")
        correct_shot(
            by=self.cast["barista"],
            shot=shot,
            seen_corrections=0,
            to=right,
            reason="Read the timer again: 27, not 24.",
        )

    def _station(self, site: str, machine: str, number: int) -> Station:
        rows = Station.objects.filter(machine__site=self.sites[site], machine__name=machine)
        station: Station = rows.select_related("machine__site").get(number=number)
        return station

    def _flow_meter(self, station: Station, slope: Decimal, days: int) -> Calibration:
        runs = [
            {"pulses": str(_pulses(slope, grams) + off), "grams": f"{grams}.0", "temperature": "18"}
            for grams, off in zip(GRAMS, SCATTER, strict=True)
        ]
        return self._record(station, Calibration.Kind.FLOW_METER, runs, days)

    def _thermometer(self, station: Station) -> Calibration:
        offset = station.temperature_offset or Decimal(0)
        runs = [
            {"displayed": "93.0", "measured": str(Decimal("93.0") + offset + Decimal(off))}
            for off in ("0.1", "-0.1", "0", "0.1", "-0.1")
        ]
        return self._record(station, Calibration.Kind.TEMPERATURE, runs, 150)

    def _record(
        self, station: Station, kind: str, runs: Sequence[dict[str, str]], days: int
    ) -> Calibration:
        due_on = self.today + timedelta(days=days)
        by = self.cast["technician"]
        return record_calibration(by=by, station=station, kind=kind, runs=runs, due_on=due_on)

    def _accept(self, calibration: Calibration) -> None:
        by = self.cast["technician"]
        plan = make_retranslation_plan(calibration=calibration, by=by)
        accept_calibration(
            by=by,
            calibration=calibration,
            revision=calibration.revision,
            seen=plan.digest,
            credentials=self.cast.signs("technician"),
            reason="Yearly round",
        )


def _pulses(slope: Decimal, grams: int) -> int:
    return int((slope * grams * MILLILITRES).quantize(Decimal(1), ROUND_HALF_UP))


def _weighed(dose: str, beverage: str, time: str, strength: str) -> Weighed:
    return Weighed(
        Decimal(dose), Decimal(beverage), Decimal(time), Decimal(strength) if strength else None
    )
