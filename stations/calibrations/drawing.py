"""A calibration's fit and a delivery's uncertainty, as drawings."""

from stations.metrology.budget import VolumeBudget
from stations.metrology.flowmeter import FlowMeterFit
from web.charts import Band, Bars, Curve, Drawing, Panel, drawing

STEPS = 24


def fit_drawing(fit: FlowMeterFit) -> Drawing:
    """The runs, the line through the origin, and the band in which a further run would lie."""
    widest = 1.05 * max(fit.volumes)
    # Drawn from a drop on: a run of no water at all has no band.
    steps = tuple(widest * max(step, 0.001) / STEPS for step in range(STEPS + 1))
    reach = [fit.band(step) for step in steps]
    line = Curve("line through zero", steps, tuple(middle for middle, _, _ in reach))
    # The band is a hair's breadth beside the whole, so it is drawn around the line by itself.
    band = Band(
        steps,
        tuple(low - middle for middle, low, _ in reach),
        tuple(high - middle for middle, _, high in reach),
    )
    panels = (
        Panel("pulses", "water / mL", (line, _runs(fit, fit.pulses)), marked=_odd(fit, fit.pulses)),
        Panel("pulses off the line", "water / mL", (_runs(fit, fit.line.residuals),),
              marked=_odd(fit, fit.line.residuals), bands=(band,), height=110),
    )  # fmt: skip
    return drawing(panels, _fit_words(fit))


def _runs(fit: FlowMeterFit, heights: tuple[float, ...]) -> Curve:
    return Curve("runs", tuple(fit.volumes), tuple(heights), joined=False)


def _odd(fit: FlowMeterFit, heights: tuple[float, ...]) -> tuple[tuple[float, float], ...]:
    place = fit.outlier_place
    return () if place is None else ((fit.volumes[place], heights[place]),)


def _fit_words(fit: FlowMeterFit) -> str:
    outlier = f" Run {fit.outlier} lies outside the others." if fit.outlier else ""
    return (
        f"{len(fit.volumes)} runs from {min(fit.volumes):.1f} to {max(fit.volumes):.1f} mL beside "
        f"the line through zero, {fit.pulses_per_millilitre:.4f} pulses per mL; below, how far "
        f"each lies off that line, with the band in which 95 % of further runs would lie.{outlier}"
    )


def budget_drawing(budget: VolumeBudget) -> Drawing:
    """Each contribution's standard uncertainty as a bar, and what they come to together."""
    named = {line.name: line.standard_uncertainty for line in budget.lines}
    named |= {"combined": budget.combined, "k = 2": budget.expanded}
    kinds = (("uncertainty", tuple(named.values())),)
    bars = Bars("uncertainty / mL", tuple(named), kinds, lying=True, height=150)
    parts = ", ".join(f"{line.name} {line.standard_uncertainty:.3f} mL" for line in budget.lines)
    text = f"Standard uncertainties: {parts}; with k = 2 together {budget.expanded:.3f} mL."
    return drawing([bars], text)
