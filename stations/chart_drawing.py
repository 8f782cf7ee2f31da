"""Control charts and the comparison of two stations, as drawings."""

from people.web.drawing import Curve, Drawing, Level, Panel, drawing
from stations.charting import Charts
from stations.comparing import Sameness
from stations.metrology.charts import Chart
from stations.shots import BOUNDS, LABELS

HEIGHT = 110


def charts_drawing(found: Charts) -> Drawing:
    """Individuals, moving range, EWMA and CUSUM, one below the other."""
    return drawing(_panels(found), _words(found))


def _panels(found: Charts) -> list[Panel]:
    unit = BOUNDS[found.code].unit
    places = tuple(float(at) for at in range(1, len(found.values) + 1))
    panels = [
        _panel(f"each / {unit}", found.individuals, places),
        _panel(f"EWMA / {unit}", found.ewma, places),
    ]
    if found.ranges is not None:
        panels.insert(1, _panel(f"range / {unit}", found.ranges, places[1:]))
    sums = found.cusum
    high, low = (tuple(float(v) for v in side) for side in (sums.high, sums.low))
    curves = (Curve("above", places, high), Curve("below", places, low))
    limit = (Level(sums.decision, "interval"),)
    panels.append(Panel(f"CUSUM / {unit}", "shot", curves, limit, counted=True, height=HEIGHT))
    return panels


def _panel(title: str, chart: Chart, places: tuple[float, ...]) -> Panel:
    heights = tuple(float(value) for value in chart.plotted)
    beyond = tuple((places[at - 1], heights[at - 1]) for at in chart.signals)
    levels = (
        Level(float(chart.upper[-1]), "upper limit"),
        Level(chart.centre, "centre"),
        Level(float(chart.lower[-1]), "lower limit"),
    )
    return Panel(title, "shot", (Curve("shots", places, heights, dots=True),), levels, beyond,
                 counted=True, height=HEIGHT)  # fmt: skip


def _words(found: Charts) -> str:
    places = ", ".join(map(str, sorted(found.told)))
    signals = f"signals at shots {places}" if places else "no signal"
    values = found.values
    return (
        f"{LABELS[found.code]} of {len(values)} shots, from {min(values)} to {max(values)} "
        f"{BOUNDS[found.code].unit}: each, moving range, EWMA and CUSUM; {signals}."
    )


def sameness_drawing(found: Sameness) -> Drawing:
    """The interval of the difference, drawn against the margin."""
    low, high = found.told.interval
    unit, edge = BOUNDS[found.code].unit, float(found.margin)
    text = (
        f"Difference {found.difference} {unit}, 90 % interval from {found.low} to {found.high}, "
        f"margin {found.margin:f} either way: {found.told.conclusion}."
    )
    bar = Panel(
        "", f"difference / {unit}",
        (Curve("interval", (low, found.told.difference, high), (0.0, 0.0, 0.0), dots=True),),
        (Level(-edge, "margin", upright=True), Level(edge, "margin", upright=True)),
        named=False, height=60,
    )  # fmt: skip
    return drawing([bar], text)
