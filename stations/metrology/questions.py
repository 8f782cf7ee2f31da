"""What about a flow meter's readings calls for a second look, before anybody takes them for true.

A question is no refusal: a strange reading may be right. It names the readings, what they would
mean and what is usual. Figures called usual are common practice, without a source, unless one is
named beside them.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stations.metrology.flowmeter import Run
from stations.metrology.numbers import Real, number
from stations.metrology.scales import STORED, Scales

# A small turbine or vane meter of an espresso machine; common practice, no source.
USUAL_PULSES = (0.8, 20.0)  # pulses/mL
# What a meter changes by from one calibration to the next; common practice, no source.
USUAL_DRIFT = 0.10  # of the value in use
USUAL_SCATTER = 0.25  # of the other runs' middle
# Drinking water on its way into a machine; common practice, no source.
WARMEST_COLD = 35.0  # °C
# The avoirdupois ounce and the kilogram in grams: exact (NIST SP 811, appendix B.8).
UNITS = (("ounces", 28.349523125), ("kilograms", 1000.0))
NEAR = 0.15  # so near to what is expected, another reading of the figures explains them


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to answer: what is odd, in which runs, with which values.

    Runs count from 1; none of them: it is about the result. ``means`` says what it would mean,
    ``usual`` what is usual and who says so.
    """

    code: str
    runs: tuple[int, ...]
    values: tuple[str, ...]
    means: str
    usual: str

    @property
    def where(self) -> str:
        """The runs in words: 'Runs 1, 2 and 4'; the result where it is about all of them."""
        if not self.runs:
            return "The result"
        *most, last = map(str, self.runs)
        return f"Runs {', '.join(most)} and {last}" if most else f"Run {last}"

    @property
    def words(self) -> str:
        """The whole question, as a page or an answer of the API puts it."""
        return f"{self.where} ({'; '.join(self.values)}): {self.means} {self.usual}"


def usual_pulses(value: Real) -> str:
    """Return what is odd about a figure of a flow meter [pulses/mL] by itself, or nothing."""
    pulses = number("pulses_per_millilitre", value, "pulses/mL", above=0.0, high=1e6)
    low, high = USUAL_PULSES
    if low <= pulses <= high:
        return ""
    return f"{pulses:.4g} pulses/mL is unusual. {_pulses_words()}"


def _pulses_words() -> str:
    low, high = USUAL_PULSES
    return f"Usual are {low:g} to {high:g} pulses/mL (common practice, no source)."


def ask_about_slope(value: Real, in_use: Real | None = None) -> tuple[Question, ...]:
    """Return the questions about a figure [pulses/mL] that came without runs.

    ``in_use`` is the value in use, None where there is none. Raises BadValueError for values not
    above 0.
    """
    slope = number("value", value, "pulses/mL", above=0.0, high=1e6)
    used = None if in_use is None else number("in_use", in_use, "pulses/mL", above=0.0, high=1e6)
    shown = (f"{slope:.4g} pulses/mL",)
    if used is not None and _near(1 / slope, used) and not _near(slope, used):
        means = f"the value in use is {used:.4g}, the same the other way round. Is it mL per pulse?"
        return (Question("swapped", (), shown, means, _pulses_words()),)
    if used is not None and abs(slope / used - 1) > USUAL_DRIFT:
        means = f"the value in use is {used:.4g} pulses/mL, this is {slope / used - 1:+.0%}."
        return (Question("moved", (), shown, means, _drift_words()),)
    if used is None and usual_pulses(value):
        means = "few meters of espresso machines give that."
        return (Question("unusual", (), shown, means, _pulses_words()),)
    return ()


def _drift_words() -> str:
    return (
        f"Usual is a change of less than {USUAL_DRIFT:.0%} from one calibration to the next"
        " (common practice, no source)."
    )


# Runs of a flow meter.


@dataclass(frozen=True, slots=True)
class _Counted:
    """One run with its own pulses per gram."""

    place: int
    pulses: float
    grams: float
    temperature: float
    scales: Scales

    @property
    def ratio(self) -> float:
        return self.pulses / self.grams

    @property
    def shown(self) -> str:
        return f"{self.pulses:g} pulses, {self.scales.weighing(self.grams)}"


def ask_about_flow(
    runs: Sequence[tuple[int, Run]], in_use: Real | None = None, scales: Scales = STORED
) -> tuple[Question, ...]:
    """Return the questions about numbered runs beside the value in use [pulses/mL; None: none].

    Temperatures and weighed water are put in the units of ``scales``.
    Raises BadValueError for pulses or grams not above 0 and values that aren't finite.
    """
    counted = [
        _Counted(
            place,
            number(f"run {place} pulses", run.pulses, "pulses", above=0.0, high=1e6),
            number(f"run {place} grams", run.grams, "g", above=0.0, high=1e6),
            number(f"run {place} temperature", run.temperature, "°C", low=-50.0, high=400.0),
            scales,
        )
        for place, run in runs
    ]
    if not counted:
        return ()
    used = None if in_use is None else number("in_use", in_use, "pulses/mL", above=0.0, high=1e6)
    expected = used or _expected(counted)
    explained = [*_swapped(counted, expected), *_other_units(counted, expected)]
    named = {place for question in explained for place in question.runs}
    rest = [run for run in counted if run.place not in named]
    asked = [*explained, *_ten_times(rest, expected)]
    named |= {place for question in asked for place in question.runs}
    rest = [run for run in counted if run.place not in named]
    asked += [*_apart(rest), *_result(rest, used), *_warm(counted, scales)]
    return tuple(asked)


def _expected(counted: Sequence[_Counted]) -> float:
    """What a run should give where nothing is in use: the first reading of theirs that is usual."""
    middle = statistics.median(run.ratio for run in counted)
    low, high = USUAL_PULSES
    readings = (middle, 1 / middle, *(middle / grams for _, grams in UNITS))
    return next((each for each in readings if low <= each <= high), middle)


def _near(value: float, expected: float) -> bool:
    return abs(value / expected - 1) <= NEAR


def _of(code: str, runs: Sequence[_Counted], means: str, usual: str = "") -> Iterable[Question]:
    if runs:
        places = tuple(run.place for run in runs)
        shown = tuple(run.shown for run in runs)
        yield Question(code, places, shown, means, usual or _pulses_words())


def _swapped(counted: Sequence[_Counted], expected: float) -> Iterable[Question]:
    runs = [
        run for run in counted if _near(1 / run.ratio, expected) and not _near(run.ratio, expected)
    ]
    if runs:
        here = statistics.median(run.ratio for run in runs)
        yield from _of(
            "swapped",
            runs,
            f"that is {here:.3g} pulses/g where about {expected:.3g} is expected; with pulses and"
            f" grams the other way round it would be {1 / here:.3g}. Were the columns swapped?",
        )


def _other_units(counted: Sequence[_Counted], expected: float) -> Iterable[Question]:
    for unit, grams in UNITS:
        runs = [run for run in counted if _near(run.ratio / grams, expected)]
        if runs:
            here = statistics.median(run.ratio for run in runs)
            yield from _of(
                unit,
                runs,
                f"that is {here:.4g} pulses/g where about {expected:.3g} is expected; if they were"
                f" {unit} ({grams:.6g} g each, NIST SP 811, B.8) it would be {here / grams:.3g}."
                f" Was the scale set to {unit}?",
            )


def _ten_times(counted: Sequence[_Counted], expected: float) -> Iterable[Question]:
    runs = [
        run for run in counted if _near(run.ratio / 10, expected) or _near(run.ratio * 10, expected)
    ]
    yield from _of(
        "ten_times",
        runs,
        f"ten times what is expected or a tenth of it (about {expected:.3g} pulses/g). Is a digit"
        " or the decimal point wrong?",
    )


def _apart(counted: Sequence[_Counted]) -> Iterable[Question]:
    """One run that is not like the others."""
    if len(counted) < 3:
        return
    middle = statistics.median(run.ratio for run in counted)
    runs = [run for run in counted if abs(run.ratio / middle - 1) > USUAL_SCATTER]
    yield from _of(
        "apart",
        runs,
        f"far from the others' middle of {middle:.3g} pulses/g. Was it typed as it was read?",
        f"Usual is a scatter of a few per cent, and below {USUAL_SCATTER:.0%} in any case"
        " (common practice, no source).",
    )


def _result(counted: Sequence[_Counted], used: float | None) -> Iterable[Question]:
    """What the runs that are left over say together, beside the value in use."""
    if not counted:
        return
    middle = statistics.median(run.ratio for run in counted)
    shown = (f"{middle:.3g} pulses/g",)
    low, high = USUAL_PULSES
    if used is not None and abs(middle / used - 1) > USUAL_DRIFT:
        yield Question(
            "moved", (), shown,
            f"the value in use is {used:.4g} pulses/mL, this is {middle / used - 1:+.0%}. Was the"
            " meter cleaned or replaced, or is this another station?",
            _drift_words(),
        )  # fmt: skip
    elif used is None and not low <= middle <= high:
        means = "few meters of espresso machines give that. Are pulses and grams as they were read?"
        yield Question("unusual", (), shown, means, _pulses_words())


def _warm(counted: Sequence[_Counted], scales: Scales) -> Iterable[Question]:
    """Water that is not cold, or degrees Fahrenheit."""
    runs = [run for run in counted if run.temperature > WARMEST_COLD]
    if runs:
        warmest = max(run.temperature for run in runs)
        celsius = (warmest - 32) / 1.8  # exact (NIST SP 811, B.8)
        # Whoever reads °F typed it as that.
        read = f"If {warmest:g} was read in °F it is {celsius:.1f} °C; if"
        doubt = read if scales.degree == STORED.degree else "If"
        yield Question(
            "warm_water",
            tuple(run.place for run in runs),
            tuple(scales.at(run.temperature) for run in runs),
            f"the meter lies in the cold line before the boiler. {doubt} it is the water in the"
            " cup, the meter's own is wanted.",
            f"Usual is water below {scales.at(WARMEST_COLD)} (common practice, no source).",
        )
