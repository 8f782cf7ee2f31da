"""What to do after a check shot: leave it, pull again, move the grinder, or ask for a change.

Only what bar staff may change is ever advised: the grind, and the dose within its tolerance.
Nothing here touches temperature, pressure or water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from stations.metrology.answering import ENOUGH, Answer, Estimate, Pull, fit_answer
from stations.metrology.errors import BadValueError
from stations.metrology.numbers import number

SCATTER = 1.0  # how far shots of one setting lie apart, before it is known; practice, no source
FAR = 2.0  # times the scatter: farther from the others, one shot is no trend
TASTES = 2  # of the last three, that are off within tolerance, before a change is asked for
BEYOND = 2.0  # times the most one moves at once: what needs more, no grinder cures
LIKELY = 0.2  # of half the interval: a slope larger than that shows the way, if not how far
DOSING = 0.1  # g, the least change of dose worth saying


class Do(StrEnum):
    """What to do."""

    LEAVE = "leave"
    AGAIN = "again"
    GRIND = "grind"
    DOSE = "dose"
    ASK = "ask"


class Why(StrEnum):
    """What it is advised for."""

    WITHIN = "within"
    DOSE_OFF = "dose_off"  # the dose itself was out of tolerance
    ENDED_OFF = "ended_off"  # it ended elsewhere than it should: pull again first
    ENDS_OFF = "ends_off"  # the machine ends it elsewhere, again and again
    ONE_IS_NO_TREND = "one_is_no_trend"
    NEARLY = "nearly"  # less than the least move away
    OUT = "out"
    UNTRIED = "untried"  # which way is known, how far is not
    TOO_FAR = "too_far"  # farther than a grinder should be moved
    UNMOVED = "unmoved"  # the response does not answer to the grind
    TASTE = "taste"  # within tolerance, and yet off in the cup


@dataclass(frozen=True, slots=True)
class Band:
    """A target and its limits; None where there is no limit. Raises BadValueError."""

    target: float
    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        for name in ("target", "low", "high"):
            if name == "target" or getattr(self, name) is not None:
                value = number(name, getattr(self, name), low=-1e6, high=1e6)
                object.__setattr__(self, name, value)

    def side(self, value: float) -> int:
        """-1 below the limits, 1 above, 0 within; limits belong to what is within."""
        if self.low is not None and value < self.low - 1e-9:
            return -1
        return 1 if self.high is not None and value > self.high + 1e-9 else 0


@dataclass(frozen=True, slots=True)
class Knob:
    """A grinder: the least move and the most one moves at once, in marks. Raises BadValueError."""

    step: float
    most: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "step", number("step", self.step, above=0.0, high=1e4))
        object.__setattr__(self, "most", number("most", self.most, low=self.step, high=1e4))


@dataclass(frozen=True, slots=True)
class Modelled:
    """What the shot model says of one mark finer, where marks mean something to it."""

    per_mark: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """A station's shots, oldest first, and what they should be.

    ``response`` is what grind answers for, ``dose`` and ``other`` the dose and what ends the shot.
    ``ended_by_hand``: whether a barista ends it. ``tastes``: whether each of the newest shots
    tasted off, newest first. Without a ``knob`` no grinder is known.
    """

    pulls: Sequence[Pull]
    response: Band
    dose: Band | None
    other: Band | None
    knob: Knob | None
    ended_by_hand: bool = True
    modelled: Modelled = Modelled()
    tastes: Sequence[bool] = ()


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, why, and by how much: marks finer (minus: coarser), g more (minus: less).

    ``effect`` is the change of the mean response with its interval. ``shots`` is from how many
    shots it was learnt, 0 where the shot model says it or nobody does.
    """

    do: Do
    why: Why
    marks: float = 0.0
    grams: float = 0.0
    effect: Estimate | None = None
    shots: int = 0
    aside: int = 0
    side: int = 0


def advise(case: Case) -> Advice:
    """What to do after the newest shot. Raises BadValueError for no shots."""
    if not case.pulls:
        raise BadValueError("pulls", 0, "at least one shot")
    newest = case.pulls[-1]
    if case.dose and (side := case.dose.side(newest.dose)):
        off = case.dose.target - newest.dose
        return Advice(Do.AGAIN, Why.DOSE_OFF, grams=off, side=side)
    if case.other and (side := case.other.side(newest.other)):
        return _ended_off(case, side)
    answer = fit_answer(case.pulls)
    side = case.response.side(newest.response)
    if not side:
        return _within(case)
    here = _here(case, answer)
    if _no_trend(case, answer, here, side):
        return Advice(Do.AGAIN, Why.ONE_IS_NO_TREND, side=side)
    return _moved(case, answer, _level(case, answer, here), side)


def _within(case: Case) -> Advice:
    off = sum(case.tastes[:3])
    if case.tastes and case.tastes[0] and off >= TASTES:
        return Advice(Do.ASK, Why.TASTE, shots=off)
    return Advice(Do.LEAVE, Why.WITHIN)


def _ended_off(case: Case, side: int) -> Advice:
    """A barista stops nearer to it next time; a machine that does it twice needs another value."""
    assert case.other
    sides = [case.other.side(pull.other) for pull in case.pulls if _alike(pull, case.pulls[-1])]
    if not case.ended_by_hand and sides[-2:] == [side, side]:
        return Advice(Do.ASK, Why.ENDS_OFF, side=side, shots=2)
    return Advice(Do.AGAIN, Why.ENDED_OFF, side=side)


def _alike(one: Pull, other: Pull) -> bool:
    return one.group == other.group and one.finer == other.finer


def _here(case: Case, answer: Answer | None) -> list[float]:
    """Responses at the newest shot's conditions, as they would be at the target dose and other."""
    newest = case.pulls[-1]
    found = []
    for pull in case.pulls:
        if _alike(pull, newest):
            off = _aimed(case, pull)
            found.append(pull.response + (float(off @ answer.slopes) if answer else 0.0))
    return found


def _aimed(case: Case, pull: Pull) -> np.typing.NDArray[np.float64]:
    """From where the shot was to the target dose and other, grind left as it is."""
    dose = case.dose.target - pull.dose if case.dose else 0.0
    other = case.other.target - pull.other if case.other else 0.0
    return np.array([0.0, dose, other])


def _no_trend(case: Case, answer: Answer | None, here: list[float], side: int) -> bool:
    """Whether the newest shot says too little by itself to move anything."""
    scatter = answer.spread if answer else SCATTER
    newest, before = here[-1], here[:-1]
    if before:
        usual = float(np.median(before))
        odd = abs(newest - usual) > FAR * scatter * (1 + 1 / len(before)) ** 0.5
        if odd and case.response.side(usual) != side:
            return True
        return case.response.side(float(np.mean(here))) != side
    earlier = answer and fit_answer(case.pulls[:-1])
    foreseen = earlier and earlier.level(case.pulls[-1])
    if foreseen:
        return not foreseen[1].low <= case.pulls[-1].response <= foreseen[1].high
    limit = case.response.high if side > 0 else case.response.low
    return limit is not None and abs(newest - limit) < scatter


def _level(case: Case, answer: Answer | None, here: list[float]) -> float:
    """Where the mean lies now: by these shots where there are several, else by the fit."""
    newest = case.pulls[-1]
    if len(here) > 1:
        return float(np.median(here))
    aimed = Pull(
        newest.group,
        newest.finer,
        case.dose.target if case.dose else newest.dose,
        case.other.target if case.other else newest.other,
        newest.response,
    )
    fitted = answer.level(aimed) if answer else None
    return fitted[0].value if fitted else here[-1]


def _moved(case: Case, answer: Answer | None, level: float, side: int) -> Advice:
    """How far to move the grinder, by the shots or else by the shot model."""
    need, knob = case.response.target - level, case.knob
    if knob is None:
        return Advice(Do.GRIND, Why.UNTRIED, marks=float(np.sign(need)), side=side)
    own = answer.effect(1.0) if answer else None
    idle = own and own.low <= 0 and own.high * knob.most < abs(need)
    if answer and idle and answer.dof >= ENOUGH:
        return Advice(Do.ASK, Why.UNMOVED, side=side, shots=answer.used)
    per_mark, by = _per_mark(case, answer, own)
    if per_mark is None:
        return Advice(Do.GRIND, Why.UNTRIED, marks=_first(case.response, knob, need), side=side)
    shots, aside = (by.used, by.aside) if by else (0, 0)
    if abs(need) > BEYOND * knob.most * per_mark.high:
        return Advice(Do.ASK, Why.TOO_FAR, side=side, shots=shots)
    marks = _rounded(need / per_mark.value, knob)
    if not marks:
        return _dosed(case, answer, need, side)
    effect = by.effect(marks) if by else _scaled(per_mark, marks)
    return Advice(Do.GRIND, Why.OUT, marks, 0.0, effect, shots, aside, side)


def _per_mark(
    case: Case, answer: Answer | None, own: Estimate | None
) -> tuple[Estimate | None, Answer | None]:
    """What one mark finer does, and the answer if the shots say it; None where nobody can tell."""
    if own and own.low > 0:
        return own, answer
    modelled = case.modelled.per_mark
    if modelled and modelled.value > 0:
        return modelled, None
    if own and own.value > LIKELY * (own.high - own.value):
        return own, answer
    return None, None


def _first(response: Band, knob: Knob, need: float) -> float:
    """The least move, or two of them from far away: the next shot tells how far one goes."""
    limits = [each for each in (response.low, response.high) if each is not None]
    width = max(abs(response.target - each) for each in limits)
    moves = 2 if abs(need) > 2 * width else 1
    return float(np.sign(need) * min(moves * knob.step, knob.most))


def _rounded(marks: float, knob: Knob) -> float:
    """To the least move, and no farther than one moves at once."""
    wanted = round(marks / knob.step) * knob.step
    return float(np.clip(wanted, -knob.most, knob.most))


def _scaled(per_mark: Estimate, marks: float) -> Estimate:
    ends = sorted((per_mark.low * marks, per_mark.high * marks))
    return Estimate(per_mark.value * marks, *ends)


def _dosed(case: Case, answer: Answer | None, need: float, side: int) -> Advice:
    """Less than the least move away: the dose within its tolerance, where it is known to tell."""
    own = answer.effect(0.0, 1.0) if answer else None
    if own is None or own.low <= 0 or case.dose is None or answer is None:
        return Advice(Do.AGAIN, Why.NEARLY, side=side)
    grams = round(need / own.value / DOSING) * DOSING
    if not grams or case.dose.side(case.dose.target + grams):
        return Advice(Do.AGAIN, Why.NEARLY, side=side)
    effect = answer.effect(0.0, grams)
    return Advice(Do.DOSE, Why.NEARLY, 0.0, grams, effect, answer.used, answer.aside, side)
