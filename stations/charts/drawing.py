"""Control charts and the comparison of two stations, as drawings."""

from stations.charts.charting import Charts
from stations.charts.comparing import Sameness
from stations.metrology.charts import Chart
from stations.shots.judging import BOUNDS, LABELS
from web.charts import Curve, Drawing, Level, Panel, drawing
from web.printing import number

HEIGHT = 150


def charts_drawings(found: Charts) -> list[Drawing]:
    """Individuals, moving range, EWMA and CUSUM: a drawing each, so that a wide page pairs them."""
    unit = BOUNDS[found.code].unit
    places = tuple(float(at) for at in range(1, len(found.values) + 1))
    drawn = [
        drawing([_panel(f"each / {unit}", found.individuals, places)], _words(found)),
        _beside("Weighted mean (EWMA)", "EWMA", unit, found.ewma, places),
        _sums(found, places),
    ]
    if found.ranges is not None:
        drawn.insert(1, _beside("Moving range", "range", unit, found.ranges, places[1:]))
    return drawn


def _beside(name: str, short: str, unit: str, chart: Chart, places: tuple[float, ...]) -> Drawing:
    low, high = float(chart.lower[-1]), float(chart.upper[-1])
    beyond = _signals([int(places[at - 1]) for at in chart.signals])
    ends = f"centre {chart.centre:.2f} {unit}, limits {low:.2f} to {high:.2f} {unit}"
    return drawing([_panel(f"{short} / {unit}", chart, places)], f"{name}: {ends}; {beyond}.")


def _sums(found: Charts, places: tuple[float, ...]) -> Drawing:
    sums, unit = found.cusum, BOUNDS[found.code].unit
    high, low = (tuple(float(v) for v in side) for side in (sums.high, sums.low))
    curves = (Curve("above", places, high), Curve("below", places, low))
    limit = (Level(sums.decision, "limit"),)
    panel = Panel(f"CUSUM / {unit}", "shot", curves, limit, counted=True, height=HEIGHT)
    text = f"Summed distance (CUSUM): limit {sums.decision:.2f} {unit}; {_signals(sums.signals)}."
    return drawing([panel], text)


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
    values, signals = found.values, _signals(sorted(found.signals_at))
    return (
        f"{LABELS[found.code]} of {len(values)} shots, from {min(values)} to {max(values)} "
        f"{BOUNDS[found.code].unit}; on all charts, {signals}."
    )


def _signals(places: list[int]) -> str:
    if not places:
        return "no signal"
    return f"signal{'s' if len(places) > 1 else ''} at shot {', '.join(map(str, places))}"


def sameness_drawing(found: Sameness) -> Drawing:
    """The interval of the difference, drawn against the margin."""
    low, high = found.result.interval
    unit, edge = BOUNDS[found.code].unit, float(found.margin)
    text = (
        f"Difference {number(found.difference)} {unit}, 90 % interval from {number(found.low)} to "
        f"{number(found.high)} {unit}, "
        f"margin {found.margin:f} {unit} either way: {found.result.conclusion}."
    )
    bar = Panel(
        "", f"difference / {unit}",
        (Curve("interval", (low, found.result.difference, high), (0.0, 0.0, 0.0), dots=True),),
        (Level(-edge, "margin", upright=True), Level(edge, "margin", upright=True)),
        named=False, height=60,
    )  # fmt: skip
    return drawing([bar], text)
