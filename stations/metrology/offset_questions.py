"""What about a thermometer's readings at a group calls for a second look: see `questions`."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

from stations.metrology.numbers import Real, number
from stations.metrology.offset import Reading
from stations.metrology.questions import Question
from stations.metrology.scales import STORED, Scales

# Measured minus displayed at a group; common practice, no source.
USUAL_OFFSET = 5.0  # °C
USUAL_OFFSET_DRIFT = 3.0  # °C from the value in use
USUAL_OFFSET_SCATTER = 3.0  # °C from the other readings' middle
COOLEST_GROUP = 70.0  # °C displayed


def usual_offset(value: Real, scales: Scales = STORED) -> str:
    """Return what is odd about a temperature offset [°C] by itself, or nothing."""
    offset = number("temperature_offset", value, "°C", low=-130.0, high=130.0)
    if abs(offset) <= USUAL_OFFSET:
        return ""
    return f"{scales.signed(offset)} is unusual. {_offset_words(scales)}"


def _offset_words(scales: Scales) -> str:
    return f"Usual is an offset within ±{scales.by(USUAL_OFFSET)} (common practice, no source)."


def ask_about_offset_figure(
    value: Real, in_use: Real | None = None, scales: Scales = STORED
) -> tuple[Question, ...]:
    """Return the questions about an offset [°C] that came without readings.

    ``in_use`` is the value in use, None where there is none; they are put in the units of
    ``scales``. Raises BadValueError outside ±130 °C.
    """
    offset = number("value", value, "°C", low=-130.0, high=130.0)
    used = None if in_use is None else number("in_use", in_use, "°C", low=-130.0, high=130.0)
    shown = (scales.signed(offset),)
    if abs(offset) > USUAL_OFFSET:
        means = "the machine would be set so far off what the recipe says."
        return (Question("wide_offset", (), shown, means, _offset_words(scales)),)
    if used is not None and abs(offset - used) > USUAL_OFFSET_DRIFT:
        means = f"the offset in use is {scales.signed(used)}."
        return (Question("moved", (), shown, means, _offset_drift_words(scales)),)
    return ()


def _offset_drift_words(scales: Scales) -> str:
    return (
        f"Usual is a change of less than {scales.by(USUAL_OFFSET_DRIFT)} from one calibration to"
        " the next (common practice, no source)."
    )


# Readings of a thermometer.


def ask_about_offset(
    readings: Sequence[tuple[int, Reading]],
    in_use: Real | None = None,
    boiling: Real | None = None,
    scales: Scales = STORED,
) -> tuple[Question, ...]:
    """Return the questions about numbered readings beside the offset in use [°C; None: none].

    ``boiling`` is where water boils at the site [°C]; they are put in the units of ``scales``.
    Raises BadValueError for temperatures outside −50 to 400 °C.
    """  # noqa: RUF002 - the sign that pages print
    pairs = [
        (
            place,
            number(f"reading {place} displayed", one.displayed, "°C", low=-50.0, high=400.0),
            number(f"reading {place} measured", one.measured, "°C", low=-50.0, high=400.0),
        )
        for place, one in readings
    ]
    if not pairs:
        return ()
    used = None if in_use is None else number("in_use", in_use, "°C", low=-130.0, high=130.0)
    top = None if boiling is None else number("boiling", boiling, "°C", low=0.0, high=200.0)
    return (
        *_offsets(pairs, scales),
        *_turned(pairs, used, scales),
        *_cool(pairs, scales),
        *_steaming(pairs, top, scales),
    )


_Pairs = Sequence[tuple[int, float, float]]


def _about(code: str, pairs: _Pairs, scales: Scales, means: str, usual: str) -> Iterable[Question]:
    if pairs:
        shown = tuple(f"displayed {scales.at(d)}, measured {scales.at(m)}" for _, d, m in pairs)
        yield Question(code, tuple(place for place, _, _ in pairs), shown, means, usual)


def _offsets(pairs: _Pairs, scales: Scales) -> Iterable[Question]:
    middle = statistics.median(m - d for _, d, m in pairs)
    wide = [each for each in pairs if abs(each[2] - each[1]) > USUAL_OFFSET]
    odd = [
        each
        for each in pairs
        if each not in wide and abs(each[2] - each[1] - middle) > USUAL_OFFSET_SCATTER
    ]
    if wide:
        far = max((m - d for _, d, m in wide), key=abs)
        yield from _about(
            "wide_offset",
            wide,
            scales,
            f"an offset of {scales.signed(far)} would have the machine set"
            f" {scales.by(abs(far), '.1f')} {'higher' if far < 0 else 'lower'} than the recipe"
            " says. Did the thermometer sit in the stream, with the group warmed through?",
            _offset_words(scales),
        )
    yield from _about(
        "apart",
        odd,
        scales,
        f"far from the others' middle of {scales.signed(middle)}. Was it typed as it was read?",
        f"Usual are readings within {scales.by(USUAL_OFFSET_SCATTER)} of each other"
        " (common practice, no source).",
    )


def _turned(pairs: _Pairs, used: float | None, scales: Scales) -> Iterable[Question]:
    if used is None:
        return
    middle = statistics.median(m - d for _, d, m in pairs)
    shown = (scales.signed(middle),)
    if abs(used) > 0.5 and abs(middle + used) < 0.3 * abs(used):
        yield Question(
            "swapped", (), shown,
            f"the offset in use is {scales.signed(used)}, the same the other way round. Were what"
            " is displayed and what was measured swapped?",
            "An offset seldom changes its sign (common practice, no source).",
        )  # fmt: skip
    elif abs(middle - used) > USUAL_OFFSET_DRIFT and abs(middle) <= USUAL_OFFSET:
        yield Question(
            "moved", (), shown,
            f"the offset in use is {scales.signed(used)}. Was the probe replaced or moved?",
            _offset_drift_words(scales),
        )  # fmt: skip


def _cool(pairs: _Pairs, scales: Scales) -> Iterable[Question]:
    yield from _about(
        "cool_group",
        [each for each in pairs if each[1] < COOLEST_GROUP],
        scales,
        "that is no temperature to brew at. Was the group warm?",
        f"An offset is read where recipes brew, above {scales.at(COOLEST_GROUP)} in any case"
        " (common practice, no source).",
    )


def _steaming(pairs: _Pairs, boiling: float | None, scales: Scales) -> Iterable[Question]:
    if boiling is None:
        return
    yield from _about(
        "above_boiling",
        [each for each in pairs if each[2] > boiling + 0.5],
        scales,
        f"water boils here at {scales.at(boiling, '.1f')}: an open group can't show more. Was it"
        " read under pressure, or does the thermometer read too high?",
        "The boiling point is IAPWS's at the site's pressure.",
    )
