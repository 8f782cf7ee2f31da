"""Runs of a calibration, as they are typed and kept, and what follows from them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from audit.errors import Invalid
from stations.calibrations.models import Calibration
from stations.equipment.bounds import OFFSET, PULSES
from stations.equipment.models import Site
from stations.metrology.atmosphere import site_pressure
from stations.metrology.errors import BadValueError
from stations.metrology.flowmeter import FlowMeterFit, Run, concerns, fit_flow_meter
from stations.metrology.offset import Offset, Reading, measure_offset
from web.checks import Checks, outside
from web.numbers import BadNumber, Bounds, read_entered, read_number

Kind = Calibration.Kind
Runs = Sequence[Mapping[str, str]]
MOST_RUNS = 100
LEFT_OUT = "left_out"  # of a run that is kept and does not count: why
REASON = 200  # characters of that

FIGURES = {Kind.FLOW_METER.value: PULSES, Kind.TEMPERATURE.value: OFFSET}
_RUN_WARM = Bounds(Decimal(20), Decimal(130), places=2, unit="Cel")
COLUMNS: dict[str, dict[str, tuple[str, Bounds]]] = {
    Kind.FLOW_METER: {
        "pulses": ("Pulses", Bounds(Decimal(1), Decimal(20_000), places=0, unit="{pulse}")),
        "grams": ("Weighed water", Bounds(Decimal("0.1"), Decimal(5_000), places=3, unit="g")),
        "temperature": ("Temperature", Bounds(Decimal(0), Decimal(100), places=2, unit="Cel")),
    },
    Kind.TEMPERATURE: {
        "displayed": ("Displayed", _RUN_WARM),
        "measured": ("Measured", _RUN_WARM),
    },
}


@dataclass(frozen=True, slots=True)
class Fitted:
    """What the runs give: the value with its uncertainty, and what speaks against taking it."""

    value: Decimal
    uncertainty: Decimal | None
    repeatability: Decimal | None
    dof: int
    concerns: list[str]
    fit: FlowMeterFit | None = None
    offset: Offset | None = None


def read_runs(kind: str, typed: Runs) -> list[dict[str, str]]:
    """The runs as exact decimal strings. Raises Invalid naming run, value and what is allowed."""
    if len(typed) > MOST_RUNS:
        raise Invalid("runs", f"{len(typed)} runs", f"at most {MOST_RUNS}")
    return [_read(kind, number, run) for number, run in enumerate(typed, 1)]


def _read(kind: str, number: int, run: Mapping[str, str]) -> dict[str, str]:
    kept = {}
    for name, (_, bounds) in COLUMNS[kind].items():
        try:
            kept[name] = format(read_number(run.get(name, ""), bounds), "f")
        except BadNumber as bad:
            told = outside(f"run {number} {name}", run.get(name, ""), bounds)
            raise Invalid.of([told]) from bad
    why = str(run.get(LEFT_OUT, "")).strip()
    if len(why) > REASON:
        raise Invalid(f"run {number} {LEFT_OUT}", why, f"at most {REASON} characters")
    return kept | {LEFT_OUT: why} if why else kept


def counting(runs: Runs) -> dict[int, Mapping[str, str]]:
    """The runs that were not left out, by their number."""
    return {number: run for number, run in enumerate(runs, 1) if not run.get(LEFT_OUT)}


def read_table(kind: str, text: str) -> list[dict[str, str]]:
    """Runs pasted from a table: one a line, values apart by blanks, tabs or semicolons.

    A first line of words is taken for the head. Raises Invalid naming the line.
    """
    names = list(COLUMNS[kind])
    runs = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.replace(";", " ").split()
        if not words or (number == 1 and not any(c.isdigit() for c in line)):
            continue
        if len(words) != len(names):
            allowed = f"{len(names)} numbers: {', '.join(names)}"
            raise Invalid("table", f"line {number}: {line[:40]}", allowed)
        runs.append(
            {n: _pointed(w, COLUMNS[kind][n][1].unit) for n, w in zip(names, words, strict=True)}
        )
    return runs


def _pointed(word: str, unit: str) -> str:
    """A number as programs write it, in `unit`; what is none is told where the runs are read."""
    try:
        return format(read_entered(word, Bounds(unit=unit, places=12, digits=24)).stored, "f")
    except BadNumber:
        return word


def air_pressure_at(site: Site) -> Decimal:
    """The air's pressure at a site [hPa], by its barometer, else by its altitude."""
    exact = Decimal(site_pressure(site.altitude, site.air_pressure))
    return exact.quantize(Decimal("0.1"), ROUND_HALF_UP)


def outcome_of(kind: str, runs: Runs, air_pressure: Decimal) -> Fitted:
    """Fit the runs, weighed in air of that pressure [hPa]. Raises Invalid where it can't be."""
    try:
        return _offset(runs) if kind == Kind.TEMPERATURE else _flow_meter(runs, air_pressure)
    except BadValueError as bad:
        raise Invalid(bad.field, bad.value, bad.allowed) from bad


TYPED = "It was typed in, not measured here: how uncertain it is nobody knows."


def typed_figure(kind: str, value: object) -> Fitted:
    """A figure that came without runs. Raises Invalid."""
    checks = Checks()
    exact = checks.number("value", value, FIGURES[kind])
    checks.done()
    return Fitted(exact, None, None, 0, [TYPED])


def outcome_kept(calibration: Calibration) -> Fitted:
    """What a calibration came to, worked out from what is kept of it."""
    if calibration.typed_because:
        return Fitted(calibration.value, None, None, 0, [TYPED])
    return outcome_of(calibration.kind, calibration.runs, calibration.air_pressure)


def work_out(kind: str, kept: Runs, site: Site) -> Fitted:
    """What runs come to, and whether that can be a station's figure.

    Raises Invalid naming run, value and what is allowed.
    """
    outcome = outcome_of(kind, kept, air_pressure_at(site))
    checks = Checks()
    checks.number("runs", outcome.value, FIGURES[kind])
    checks.done()
    return outcome


def _flow_meter(runs: Runs, air_pressure: Decimal) -> Fitted:
    counted = counting(runs)
    names = ("pulses", "grams", "temperature")
    fit = fit_flow_meter(
        (Run(*(Decimal(run[name]) for name in names)) for run in counted.values()),
        pressure=air_pressure,
        numbers=list(counted),
    )
    value, uncertainty, repeatability = fit.stored()
    found = [*_left_out(runs), *concerns(fit)]
    return Fitted(value, uncertainty, repeatability, fit.dof, found, fit=fit)


def _left_out(runs: Runs) -> list[str]:
    """Leaving out what does not fit makes any meter look good."""
    gone = len(runs) - len(counting(runs))
    if gone * 3 <= len(runs):
        return []
    return [f"{gone} of {len(runs)} runs were left out: measure again rather than choose."]


def _offset(runs: Runs) -> Fitted:
    offset = measure_offset(
        Reading(Decimal(run["displayed"]), Decimal(run["measured"]))
        for run in counting(runs).values()
    )
    value, uncertainty = offset.stored()
    found = _left_out(runs)
    if offset.dof < 4:
        found.append(f"Only {offset.dof + 1} readings: 95 % needs more than k = 2. Take five.")
    return Fitted(value, uncertainty, None, offset.dof, found, offset=offset)
