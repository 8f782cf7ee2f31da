"""Charts of measurements, drawn on the server: SVG in a data address, with the same said in words.

Floats only here, for the pixels: every exact value is in the table beside the chart.
"""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stations.metrology.budget import VolumeBudget
from stations.metrology.flowmeter import FlowMeterFit

# Drawn for a phone's width; a desk shows it at the same size, never blurred.
WIDTH, HEIGHT = 330, 220
INK, SOFT, SHEET, ACCENT, ALARM = "#1d1b16", "#57524a", "#fdfbf5", "#0c5358", "#9b2c1f"
STEPS = 24


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as a data address, and the sentence that says what is in it."""

    source: str
    text: str


def svg_source(sheet: Any) -> str:  # noqa: ANN401 - altair is untyped
    """An Altair chart as the address of an image."""
    import vl_convert as vlc  # noqa: PLC0415 - takes a second to load, and few pages draw

    styled = sheet.configure(background=SHEET, font="Noto Sans, sans-serif").configure_axis(
        labelColor=SOFT, titleColor=INK, gridColor="#d3cbb9", labelFontSize=13, titleFontSize=13
    )
    svg = str(vlc.vegalite_to_svg(styled.to_dict(), vl_version="v6.1"))
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def _chart(alt: Any, rows: Sequence[Mapping[str, object]]) -> Any:  # noqa: ANN401 - as above
    return alt.Chart(alt.Data(values=rows))


def fit_picture(fit: FlowMeterFit) -> Picture:
    """The runs, the line through the origin, and the band in which a further run would lie."""
    import altair as alt  # noqa: PLC0415 - as above

    widest = 1.05 * max(fit.volumes)
    steps = [_band_at(fit, widest * step / STEPS) for step in range(1, STEPS + 1)]
    x = alt.X("volume:Q", title="Water / mL", scale=alt.Scale(domainMin=0))
    whole = _chart(alt, steps).mark_line(color=ACCENT).encode(x=x, y=_y(alt, "middle", "Pulses"))
    # The band is a hair's breadth beside the whole, so it is drawn around the line by itself.
    band = _chart(alt, steps).mark_area(color=ACCENT, opacity=0.2)
    band = band.encode(x=x, y=_y(alt, "below", "Pulses off the line"), y2="above:Q")
    panels = (
        (whole + _dots(alt, fit, "pulses").encode(x=x)).properties(width=WIDTH, height=HEIGHT),
        (band + _dots(alt, fit, "off").encode(x=x)).properties(width=WIDTH, height=HEIGHT // 2),
    )
    return Picture(svg_source(alt.vconcat(*panels)), _fit_words(fit))


def _y(alt: Any, field: str, title: str) -> Any:  # noqa: ANN401 - as above
    return alt.Y(f"{field}:Q", title=title)


def _dots(alt: Any, fit: FlowMeterFit, field: str) -> Any:  # noqa: ANN401 - as above
    runs = _chart(alt, _runs(fit)).mark_point(filled=True, size=60, opacity=1)
    colour = alt.condition("datum.outlier", alt.value(ALARM), alt.value(INK))
    shape = alt.condition("datum.outlier", alt.value("triangle-up"), alt.value("circle"))
    return runs.encode(y=f"{field}:Q", color=colour, shape=shape)


def _band_at(fit: FlowMeterFit, volume: float) -> dict[str, float]:
    middle, low, high = fit.band(volume)
    off = {"below": low - middle, "above": high - middle}
    return {"volume": volume, "middle": middle, **off}


def _runs(fit: FlowMeterFit) -> list[dict[str, object]]:
    rows = zip(fit.volumes, fit.pulses, fit.line.residuals, strict=True)
    return [
        {"volume": volume, "pulses": pulses, "off": off, "outlier": number == fit.outlier}
        for number, (volume, pulses, off) in enumerate(rows, 1)
    ]


def _fit_words(fit: FlowMeterFit) -> str:
    outlier = f" Run {fit.outlier} lies outside the others." if fit.outlier else ""
    return (
        f"{len(fit.volumes)} runs from {min(fit.volumes):.1f} to {max(fit.volumes):.1f} mL beside "
        f"the line through zero, {fit.pulses_per_millilitre:.4f} pulses per mL; below, how far "
        f"each lies off that line, with the band in which 95 % of further runs would lie.{outlier}"
    )


def budget_picture(budget: VolumeBudget) -> Picture:
    """Each contribution's standard uncertainty as a bar, and what they come to together."""
    import altair as alt  # noqa: PLC0415 - as above

    bars = [{"name": line.name, "u": line.standard_uncertainty} for line in budget.lines]
    bars += [{"name": "combined", "u": budget.combined}, {"name": "k = 2", "u": budget.expanded}]
    chart = _chart(alt, bars).mark_bar(color=ACCENT)
    sheet = chart.encode(
        x=alt.X("u:Q", title="Uncertainty / mL"),
        y=alt.Y("name:N", title=None, sort=[str(bar["name"]) for bar in bars]),
    ).properties(width=WIDTH - 60, height=150)
    parts = ", ".join(f"{line.name} {line.standard_uncertainty:.3f} mL" for line in budget.lines)
    text = f"Standard uncertainties: {parts}; with k = 2 together {budget.expanded:.3f} mL."
    return Picture(svg_source(sheet), text)
