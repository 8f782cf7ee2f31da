"""Control charts and the comparison of two stations, as drawings."""

from dataclasses import replace

from stations.charts.charting import Charts
from stations.charts.comparing import Sameness
from stations.charts.keeping import individuals_of
from stations.charts.models import KeptChart
from stations.metrology.charts import Chart
from stations.shots.judging import BOUNDS, LABELS
from web.charts import Curve, Drawing, Level, Measure, Panel, drawing, measure_of
from web.numbers import rounded
from web.printing import quantity

HEIGHT = 150


def charts_drawings(found: Charts) -> list[Drawing]:
    """Individuals, moving range, EWMA and CUSUM: a drawing each, so that a wide page pairs them."""
    code, measure = BOUNDS[found.code].unit, measure_of(BOUNDS[found.code].unit)
    places = tuple(float(at) for at in range(1, len(found.values) + 1))
    drawn = [
        drawing([_with_versions(found, places, measure)], _words(found)),
        _beside("Weighted mean (EWMA)", "EWMA", code, found.ewma, places),
        _sums(found, places),
    ]
    if found.ranges is not None:
        drawn.insert(
            1,
            _beside(
                "Moving range",
                "range",
                code,
                found.ranges,
                tuple(float(at) for at in found.range_places),
            ),
        )
    return drawn


def _with_versions(found: Charts, places: tuple[float, ...], measure: Measure) -> Panel:
    """The single values, with a line where another version begins."""
    panel = _panel("each", found.individuals, places, measure)
    begin = (Level(at - 0.5, "other version", upright=True) for at in found.changes_at)
    return replace(panel, levels=(*panel.levels, *begin))


def kept_drawing(kept: KeptChart) -> Drawing:
    """The chart of the single values, as it was kept."""
    values, chart = individuals_of(kept)
    code = BOUNDS[kept.code].unit
    places = tuple(float(at) for at in range(1, len(values) + 1))
    low, high, centre = (_said(v, code) for v in (chart.lower[-1], chart.upper[-1], chart.centre))
    said = f"{kept.label} of {len(values)} shots: centre {centre}, limits {low} to {high}"
    panel = _panel("each", chart, places, measure_of(code))
    return drawing([panel], f"{said}; {_signals(chart.signals)}.")


def _beside(name: str, short: str, code: str, chart: Chart, places: tuple[float, ...]) -> Drawing:
    low, high, centre = (_said(v, code) for v in (chart.lower[-1], chart.upper[-1], chart.centre))
    beyond = _signals([int(places[at - 1]) for at in chart.signals])
    ends = f"centre {centre}, limits {low} to {high}"
    panel = _panel(short, chart, places, measure_of(code))
    return drawing([panel], f"{name}: {ends}; {beyond}.")


def _said(value: float, code: str) -> str:
    return quantity(rounded(float(value), 2), code)


def _sums(found: Charts, places: tuple[float, ...]) -> Drawing:
    sums, code = found.cusum, BOUNDS[found.code].unit
    measure = measure_of(code)
    high, low = (tuple(measure.step(float(v)) for v in side) for side in (sums.high, sums.low))
    curves = (Curve("above", places, high), Curve("below", places, low))
    limit = (Level(measure.step(sums.decision), "limit"),)
    title = f"CUSUM / {measure.unit}"
    panel = Panel(title, "shot", curves, limit, counted=True, height=HEIGHT)
    limit_said = _said(sums.decision, code)
    text = f"Summed distance (CUSUM): limit {limit_said}; {_signals(sums.signals)}."
    return drawing([panel], text)


def _panel(short: str, chart: Chart, places: tuple[float, ...], measure: Measure) -> Panel:
    heights = tuple(measure.at(float(value)) for value in chart.plotted)
    beyond = tuple((places[at - 1], heights[at - 1]) for at in chart.signals)
    levels = (
        Level(measure.at(float(chart.upper[-1])), "upper limit"),
        Level(measure.at(chart.centre), "centre"),
        Level(measure.at(float(chart.lower[-1])), "lower limit"),
    )
    title = f"{short} / {measure.unit}"
    return Panel(title, "shot", (Curve("shots", places, heights, dots=True),), levels, beyond,
                 counted=True, height=HEIGHT)  # fmt: skip


def _words(found: Charts) -> str:
    values, signals = found.values, _signals(sorted(found.signals_at))
    low, high = (quantity(v, BOUNDS[found.code].unit) for v in (min(values), max(values)))
    reach = f"{LABELS[found.code]} of {len(values)} shots, from {low} to {high}"
    begin = "".join(f"; another version from shot {at}" for at in found.changes_at)
    return f"{reach}{begin}; on all charts, {signals}."


def _signals(places: list[int]) -> str:
    if not places:
        return "no signal"
    return f"signal{'s' if len(places) > 1 else ''} at shot {', '.join(map(str, places))}"


def sameness_drawing(found: Sameness) -> Drawing:
    """The interval of the difference, drawn against the margin."""
    code = BOUNDS[found.code].unit
    measure = measure_of(code)
    low, middle, high = (
        measure.step(float(v)) for v in (found.low, found.result.difference, found.high)
    )
    edge = measure.step(float(found.margin))
    told = [quantity(v, code) for v in (found.difference, found.low, found.high, found.margin)]
    text = (
        f"Difference {told[0]}, 90 % interval from {told[1]} to {told[2]}, "
        f"margin {told[3]} either way: {found.result.conclusion}."
    )
    bar = Panel(
        "", f"difference / {measure.unit}",
        (Curve("interval", (low, middle, high), (0.0, 0.0, 0.0), dots=True),),
        (Level(-edge, "margin", upright=True), Level(edge, "margin", upright=True)),
        named=False, height=60,
    )  # fmt: skip
    return drawing([bar], text)
