"""A check shot as a case to be advised on: the shots before it, what it should be, its grinder."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from stations.advice.model import foretold, per_mark
from stations.grinders.models import BREAKS, Grinder
from stations.metrology.advising import Advice, Band, Case, Knob, Modelled, advise
from stations.metrology.answering import Pull, fit_answer
from stations.metrology.formula import BEVERAGE, DOSE, ENDS_BY, SHOT_TIME
from stations.shots.judging import cup_of
from stations.shots.models import CheckShot, Taste
from stations.slots.models import Placement
from stations.slots.signed import withhold

NEWEST = 60  # shots learnt from; older ones are of other burrs, beans and weather
MOST_MOVES = 10  # least moves of the collar at once; practice, no source
BY_HAND = ("", "operator")


@dataclass(frozen=True, slots=True)
class Advised:
    """A shot and what to do after it.

    ``turn`` is 1 where a finer grind raises what it answers for, -1 where it lowers it (a shot that
    ends by time). ``code`` says what that is.
    """

    shot: CheckShot
    advice: Advice
    code: str
    turn: int

    @property
    def marks_finer(self) -> Decimal:
        """How many marks finer; below 0 coarser."""
        return plain(Decimal(repr(round(self.advice.marks, 4))) * self.turn)

    @property
    def new_setting(self) -> Decimal | None:
        """The mark to set the grinder to; None where none is known."""
        grinder, now = self.shot.grinder, self.shot.grind_setting
        if grinder is None or now is None or not self.advice.marks:
            return None
        return plain(now + grinder.finer_sign * self.marks_finer)


def plain(mark: Decimal) -> Decimal:
    """Without zeros at the end: what a collar shows."""
    whole = mark.to_integral_value()
    return whole if whole == mark else mark.normalize()


def advice_on(shot: CheckShot) -> Advised | None:
    """What to do after this shot; None where there is nothing to advise.

    There is nothing for a shot that is left out, is not its slot's newest, or was poured under
    what is no longer in force, is not as signed, or was found not to be in the slot.
    """
    if not _counts(shot):
        return None
    ends_by = shot.placement.settings.values.get(ENDS_BY, {}).get("value", "")
    timed = ends_by == "time"
    code, other = (BEVERAGE, SHOT_TIME) if timed else (SHOT_TIME, BEVERAGE)
    cup = cup_of(shot.placement)
    response = _band(cup, code)
    if response is None or (response.low is None and response.high is None):
        return None
    turn = -1 if timed else 1
    rows = _learnable(shot)
    case = Case(
        pulls=[_pull(row, code, other, turn) for row in rows],
        response=response,
        dose=_band(cup, DOSE),
        other=_band(cup, other),
        knob=_knob(shot.grinder),
        ended_by_hand=ends_by in BY_HAND,
        modelled=Modelled(),
        tastes=_tastes(rows),
    )
    return Advised(shot, advise(_foreseen(case, shot, code)), code, turn)


def _counts(shot: CheckShot) -> bool:
    placement = shot.placement
    usable = placement.state == Placement.State.IN_FORCE and placement.verdict != "differs"
    if shot.left_out or not usable:
        return False
    withhold([placement])
    newer = CheckShot.objects.counted().filter(slot=shot.slot_id).after(shot)
    return not placement.problem and not newer.exists()


def _learnable(shot: CheckShot) -> list[CheckShot]:
    """The slot's newest shots with this grinder and its burrs, oldest first, this one last."""
    rows = (
        CheckShot.objects.counted().filter(slot=shot.slot_id, grinder=shot.grinder_id).until(shot)
    )
    if shot.grinder_id:
        rows = rows.filter(grind_setting__isnull=False)
        breaks = shot.grinder.events.filter(kind__in=BREAKS) if shot.grinder else None
        last = breaks.values_list("at", flat=True).first() if breaks is not None else None
        if last:
            rows = rows.filter(at__gt=last)
    found = list(rows.select_related("placement", "grinder", "site").newest_first()[:NEWEST])
    if not found or found[0].pk != shot.pk:
        found.insert(0, shot)
    return found[::-1]


def _pull(row: CheckShot, code: str, other: str, turn: int) -> Pull:
    """One shot; those of one lot on one day under the same settings are a group."""
    group = hash((row.placement.settings_id, row.opening_id, row.site.local(row.at).date()))
    sign = row.grinder.finer_sign * turn if row.grinder else 0
    mark = float(row.grind_setting or 0) * sign
    dose, second, response = (float(getattr(row, name)) for name in (DOSE, other, code))
    return Pull(group, mark, dose, second, response)


def _tastes(rows: list[CheckShot]) -> list[bool]:
    """Of the newest shots of all within tolerance: whether each tasted off, newest first."""
    within = [row for row in rows[::-1] if row.verdict == "within" and row.taste][:3]
    if not within or within[0].pk != rows[-1].pk:
        return []
    return [row.taste != Taste.BALANCED for row in within]


def _band(cup: Mapping[str, Mapping[str, str]], code: str) -> Band | None:
    held = cup.get(code, {})
    if "target" not in held:
        return None
    target = Decimal(held["target"])
    low = float(target - Decimal(held["below"])) if "below" in held else None
    high = float(target + Decimal(held["above"])) if "above" in held else None
    return Band(float(target), low, high)


def _knob(grinder: Grinder | None) -> Knob | None:
    """No more than ten least moves at once, nor half a turn."""
    if grinder is None:
        return None
    step = float(grinder.step)
    half = float(grinder.marks_per_turn) / 2 if grinder.marks_per_turn else MOST_MOVES * step
    return Knob(step, max(step, min(half, MOST_MOVES * step)))


def _foreseen(case: Case, shot: CheckShot, code: str) -> Case:
    """With what the shot model says, where the shots themselves do not say enough."""
    grinder = shot.grinder
    if grinder is None or grinder.micrometres_per_mark is None:
        return case
    own = fit_answer(case.pulls)
    if not case.response.side(case.pulls[-1].response) or (own and own.effect(1.0).low > 0):
        return case
    told = foretold(shot)
    if told is None:
        return case
    percent = told.time if code == SHOT_TIME else -told.beverage
    estimate = per_mark(percent, float(grinder.micrometres_per_mark))
    return Case(
        case.pulls, case.response, case.dose, case.other, case.knob, case.ended_by_hand,
        Modelled(estimate), case.tastes,
    )  # fmt: skip
