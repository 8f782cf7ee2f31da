"""A parameter over time, drawn as steps: a value holds until the next one is written."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import Any

from django.apps import apps
from django.db import models
from django.utils.text import capfirst

from audit.capture.models import Entry, Operation
from audit.reading.axes import number_marks, time_marks
from audit.reading.queries import HistoryFilter, page_of
from audit.registry import registry

# Words for the columns of governed tables, and for the values in them.


@dataclass(frozen=True, slots=True)
class Label:
    """How one column is shown: its name, its UCUM unit, and words for coded values.

    `target` is the model a foreign key leads to.
    """

    name: str
    unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    is_time: bool = False
    target: type[models.Model] | None = None

    def named(self, key: object) -> str:
        """The name of what a foreign key leads to today, with its number."""
        found = self.target._base_manager.filter(pk=key).first() if self.target else None
        return f"{found} (#{key})" if found else f"#{key}"


LABELS: dict[tuple[str, str], Label] = {}


def register_label(
    table: str,
    column: str,
    label: str,
    unit: str = "",
    values: Mapping[str, str] | None = None,
) -> None:
    """Name a column where the model's own wording is not what the page should say."""
    LABELS[table, column] = Label(label, unit, values or {})


def label_of(table: str, column: str) -> Label:
    """The registered label, else the model's wording, else (a column long gone) its name."""
    return LABELS.get((table, column)) or _from_model(table, column)


def _from_model(table: str, column: str) -> Label:
    model = models_by_table().get(table)
    fields = model._meta.concrete_fields if model else []
    found = next((f for f in fields if f.column == column), None)
    if found is None:
        return Label(capfirst(column.replace("_", " ")))
    coded = {str(code): str(words) for code, words in (found.flatchoices or [])}
    return Label(
        capfirst(str(found.verbose_name)),
        values=coded,
        is_time=isinstance(found, models.DateTimeField),
        target=found.related_model if isinstance(found, models.ForeignKey) else None,
    )


def column_order(table: str) -> dict[str, int]:
    """The place of each column in its model; jsonb keeps an order of its own."""
    model = models_by_table().get(table)
    fields = model._meta.concrete_fields if model else []
    return {str(f.column): place for place, f in enumerate(fields)}


@lru_cache(maxsize=1)
def models_by_table() -> Mapping[str, type[models.Model]]:
    """Every model by its table."""
    every = apps.get_models(include_auto_created=True)
    return {model._meta.db_table: model for model in every if not model._meta.proxy}


MOST = 500  # the newest changes that are drawn
PANELS = 4  # columns that get a panel of their own (target, tolerances)
WIDTH, HEIGHT = 440, 150  # a phone shows it a little smaller, and still legible
FONT = "Noto Sans, Helvetica, Arial, sans-serif"
INK, SOFT, SHEET, ACCENT = "#1d1b16", "#57524a", "#fdfbf5", "#0c5358"


@dataclass(frozen=True, slots=True)
class Point:
    """A value as written at a moment."""

    at: datetime
    value: Decimal
    old: Decimal | None


@dataclass(frozen=True, slots=True)
class Chart:
    """The drawing as a data address, and the sentence that says what is in it."""

    source: str
    text: str


def chart_of(wanted: HistoryFilter, scope: frozenset[int] | None) -> Chart | None:
    """A chart of what the filter finds, or None where no number was ever written."""
    entries = list(reversed(page_of(wanted, scope, size=MOST).entries))
    series = _series(entries)
    if not series:
        return None
    unit = registry.unit(next((entry.unit for entry in reversed(entries) if entry.unit), ""))
    svg = _draw(series, unit)
    source = "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
    return Chart(source, " ".join(_told(name, points, unit) for name, points in series.items()))


def _series(entries: list[Entry]) -> dict[str, list[Point]]:
    """The numbers written, by column, oldest first."""
    found: dict[str, list[Point]] = {}
    for entry in entries:
        if entry.operation == Operation.REFUSED:
            continue
        for column, (old, new) in entry.changes.items():
            value = _number(new)
            if value is not None:
                name = label_of(entry.table_name, column).name
                found.setdefault(name, []).append(Point(entry.at, value, _number(old)))
    return dict(list(found.items())[:PANELS])


def _number(value: object) -> Decimal | None:
    """Decimals are recorded as text; whole numbers and truth values are not measurements."""
    if not isinstance(value, str):
        return None
    try:
        number = Decimal(value)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def _told(name: str, points: list[Point], unit: str) -> str:
    low, high = min(p.value for p in points), max(p.value for p in points)
    first, last = points[0], points[-1]
    spread = f", between {low} and {high}" if low != high else ""
    return (
        f"{name}: {len(points)} values from {first.at:%Y-%m-%d} to {last.at:%Y-%m-%d}{spread}, "
        f"last {last.value} {unit}".rstrip()
        + "."
    )


def _draw(series: dict[str, list[Point]], unit: str) -> str:
    # Imported here: they take a second to load, and few pages draw.
    import altair as alt  # noqa: PLC0415
    import vl_convert as vlc  # noqa: PLC0415

    panels = [_panel(alt, name, points, unit) for name, points in series.items()]
    sheet = alt.vconcat(*panels).configure(background=SHEET, font=FONT)
    sheet = sheet.configure_axis(
        labelColor=SOFT, titleColor=INK, gridColor="#d3cbb9",
        labelFontSize=13, titleFontSize=13, titleFontWeight="normal",
    )  # fmt: skip
    return str(vlc.vegalite_to_svg(sheet.to_dict(), vl_version="v6.1"))


def _panel(alt: Any, name: str, points: list[Point], unit: str) -> Any:  # noqa: ANN401  untyped
    # Floats only here, for the pixels: every exact value is in the table beside the chart.
    values = [{"at": point.at.isoformat(), "value": float(point.value)} for point in points]
    title = f"{name}, {unit}" if unit else name
    when = time_marks(points[0].at, points[-1].at)
    much = number_marks(min(p.value for p in points), max(p.value for p in points))
    chart = alt.Chart(alt.Data(values=values)).encode(
        x=alt.X(
            "at:T", title=None, scale=alt.Scale(type="utc"),
            axis=alt.Axis(values=list(when.places), format=when.format, labelOverlap=True),
        ),
        y=alt.Y(
            "value:Q", title=title, scale=alt.Scale(zero=False, domain=much.ends),
            axis=alt.Axis(values=list(much.places), format=much.format),
        ),
    )  # fmt: skip
    line = chart.mark_line(interpolate="step-after", color=ACCENT)
    return (line + chart.mark_point(color=ACCENT, filled=True)).properties(
        width=WIDTH, height=HEIGHT
    )
