"""The pressure plan a formula asks for: read, judged and drawn."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.errors import QuantityError
from recipes.brewing.plan_check import check_plan
from recipes.brewing.pressure_plan import Piece, PressurePlan, Stage, pieces
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.formula.plan import FIELDS, plan_of
from stations.metrology.formula import SHOT_TIME
from web.charts import Curve, Drawing, Level, Panel, drawing
from web.numbers import rounded
from web.printing import quantity

REST_OF_SHOT = 20.0  # s of brewing drawn where the recipe states no shot time


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stage as a line of the table beside the drawing."""

    stage: str
    start: str
    stop: str
    at_start: Decimal
    at_stop: Decimal


@dataclass(frozen=True, slots=True)
class JudgedPlan:
    """What is said about a plan, and its drawing; no drawing where nothing can be drawn."""

    words: tuple[str, ...]
    ordinary: bool
    stretches: tuple[Stretch, ...] = ()
    drawing: Drawing | None = None


def pressure_plan(formula: Formula) -> JudgedPlan | None:
    """The formula's plan with what is odd about it; None where it states no pressure at all."""
    try:
        plan = plan_of(formula)
    except QuantityError as error:
        return JudgedPlan((f"{_label(error.field)}: {error.allowed}.",), ordinary=False)
    if plan is None:
        if not any(code in formula for code in FIELDS):
            return None
        return JudgedPlan(("No plan to judge: a brew pressure is not stated.",), ordinary=False)
    odd = [f"{_label(each.field)}: {each.words}." for each in check_plan(plan)]
    words = odd or ["An ordinary pressure plan."]
    shot_time = formula.target(SHOT_TIME)
    return JudgedPlan(
        tuple(words),
        not odd,
        tuple(_stretch(piece, plan) for piece in pieces(plan)),
        _drawn(plan, None if shot_time is None else float(shot_time)),
    )


def _label(code: str) -> str:
    known = PARAMETERS.get(code)
    return known.label if known else code


def _stretch(piece: Piece, plan: PressurePlan) -> Stretch:
    water = "" if plan.taper_start is None else quantity(_exact(plan.taper_start), "%")
    if piece.stage is Stage.TAPER:
        start, stop = f"{water} of the water", "the end"
    elif piece.stop is None:
        start = quantity(_exact(piece.start or 0.0), "s")
        stop = f"{water} of the water" if water else "the end"
    else:
        start, stop = (quantity(_exact(at or 0.0), "s") for at in (piece.start, piece.stop))
    ends = (_exact(piece.at_start), _exact(piece.at_stop))
    return Stretch(piece.stage.capitalize(), start, stop, *ends)


def _exact(value: float) -> Decimal:
    """A stated number back from the float that a drawing needs."""
    return Decimal(f"{rounded(value, 2).normalize():f}")


def _drawn(plan: PressurePlan, shot_time: float | None) -> Drawing:
    """Against time; the taper, which begins by water, as if the rest of the water ran evenly."""
    rise_ends = plan.preinfusion_time + plan.rise_time
    end = max(shot_time or 0.0, rise_ends + (0.0 if shot_time else REST_OF_SHOT), rise_ends + 1)
    xs, ys = _corners(plan, rise_ends, end)
    levels: tuple[Level, ...] = ()
    if plan.taper_pressure is not None and plan.taper_start is not None:
        levels = (Level(xs[-2], f"{plan.taper_start:g} % of water", upright=True),)
    panel = Panel(
        "pressure / bar", "time / s", (Curve("asked", xs, ys),), levels, from_zero=True, height=150
    )
    return drawing([panel], _told(plan, shot_time))


def _corners(plan: PressurePlan, rise_ends: float, end: float) -> tuple[tuple[float, ...], ...]:
    corners: list[tuple[float, float]] = []
    for piece in pieces(plan):
        if piece.stage is Stage.TAPER:
            begins = rise_ends + (end - rise_ends) * (plan.taper_start or 0.0) / 100
            corners[-1] = (begins, piece.at_start)
            corners.append((end, piece.at_stop))
        else:
            corners.append((piece.start or 0.0, piece.at_start))
            corners.append((end if piece.stop is None else piece.stop, piece.at_stop))
    xs, ys = zip(*corners, strict=True)
    return xs, ys


def _told(plan: PressurePlan, shot_time: float | None) -> str:
    parts = []
    if plan.preinfusion_time:
        parts.append(f"{plan.preinfusion_pressure:g} bar for {plan.preinfusion_time:g} s")
    if plan.rise_time:
        by = "" if plan.intermediate_pressure is None else f" by {plan.intermediate_pressure:g} bar"
        parts.append(f"a rise of {plan.rise_time:g} s{by}")
    parts.append(f"{plan.brew_pressure:g} bar")
    if plan.taper_pressure is not None:
        parts.append(
            f"down to {plan.taper_pressure:g} bar from {plan.taper_start:g} % of the water"
        )
    length = "" if shot_time else f" Drawn for {REST_OF_SHOT:g} s of brewing."
    taper = " The taper is placed as if water ran evenly." if plan.taper_pressure else ""
    return f"Pressure asked of the pump (gauge): {', then '.join(parts)}.{length}{taper}"
