"""Runs of a calibration, typed one by one or pasted as a table."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms

from audit.errors import Invalid
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import (
    COLUMNS,
    FIGURES,
    LEFT_OUT,
    REASON,
    Runs,
    read_runs,
    read_table,
)
from stations.calibrations.questions import LONGEST, Asked, ask, ask_about_figure
from stations.equipment.bounds import AIR_PRESSURE
from stations.equipment.models import Station
from stations.metrology.errors import BadValueError
from web.fields import PlainDecimalField, SeenRevision, number, unmarked
from web.numbers import Bounds
from web.printing import unit_label
from web.units import chosen

ROWS = 8
TEMPERATURE = "temperature"
TRY = "try"  # the button that works runs out and keeps nothing
USUAL = timedelta(days=182)


def usual_due(today: date) -> date:
    """Half a year on: an interval to start from, not a rule."""
    return today + USUAL


class RunField(PlainDecimalField):
    """A box of a row: a row is left empty or filled whole, so none is marked optional."""

    spare = True


class QuestionsForm(forms.Form):
    """A form that asks about what is odd in what was typed; recording needs the answers."""

    def __init__(self, kind: str, station: Station, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.kind, self.station = kind, station
        self.asked: list[Asked] = []

    def put(self, asked: list[Asked], otherwise: str, *, needed: bool = True) -> None:
        """A box for the answer to each question; where it is needed and empty, a fault says so."""
        self.asked = asked
        answers = self.answers()
        for one in asked:
            box = forms.CharField(
                label="Why it stands", required=False, max_length=LONGEST, help_text=one.words
            )
            self.fields[one.field] = unmarked(box)
            if needed and one.key not in answers:
                self.add_error(one.field, f"Say why it stands, or {otherwise}.")

    def answers(self) -> dict[str, str]:
        """What was typed under each question, by its key."""
        given = {one.key: str(self.data.get(one.field, "")).strip() for one in self.asked}
        return {key: text for key, text in given.items() if text}

    def questions(self) -> list[forms.BoundField]:
        """The boxes for answers, for the page."""
        return [self[one.field] for one in self.asked]


class CalibrationForm(QuestionsForm):
    """A few rows of boxes, or a table; and by when it is to be repeated."""

    table = forms.CharField(
        required=False,
        max_length=20_000,
        label="Or paste a table",
        widget=forms.Textarea(attrs={"rows": 5, "class": "mono"}),
    )
    due_on = forms.DateField(
        label="To be repeated by", widget=forms.DateInput(attrs={"type": "date"})
    )

    def __init__(self, kind: str, station: Station, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(kind, station, *args, **kwargs)
        self.columns = COLUMNS[kind]
        words = ", ".join(
            _with_unit(label.lower(), bounds) for label, bounds in self.columns.values()
        )
        self.fields["table"].help_text = f"One run a line: {words}, separated by spaces or tabs."
        if TEMPERATURE in self.columns:
            self.fields["temperature"] = RunField(
                label="Water temperature", bounds=self.columns[TEMPERATURE][1], required=False,
                help_text="Of the cold water in the meter, for all runs.",
            )  # fmt: skip
            self.fields["temperature"].widget.attrs["autofocus"] = True
        for row in range(1, ROWS + 1):
            for name, (label, bounds) in self.columns.items():
                self.fields[f"run_{row}_{name}"] = RunField(
                    label=label, bounds=bounds, required=False
                )
            self.fields[f"run_{row}_{LEFT_OUT}"] = unmarked(
                forms.CharField(label="Left out because", required=False, max_length=REASON)
            )

    def rows(self) -> list[tuple[int, list[forms.BoundField]]]:
        """The boxes of every run, in the order in which they are typed."""
        names = [name for name in self.columns if name != TEMPERATURE]
        return [(row, [self[f"run_{row}_{name}"] for name in names]) for row in range(1, ROWS + 1)]

    def exceptions(self) -> list[tuple[int, list[forms.BoundField]]]:
        """The boxes that few runs need: a temperature of its own, and why one is left out."""
        names = [*([TEMPERATURE] if TEMPERATURE in self.columns else []), LEFT_OUT]
        return [(row, [self[f"run_{row}_{name}"] for name in names]) for row in range(1, ROWS + 1)]

    @property
    def exceptional(self) -> bool:
        """Whether something stands in one of those boxes, or is wrong there."""
        boxes = [box for _, fields in self.exceptions() for box in fields]
        return self.is_bound and any(box.value() or box.errors for box in boxes)

    def clean(self) -> dict[str, Any]:
        """The runs, from one place or the other."""
        data = super().clean() or {}
        typed = self._typed(data)
        pasted = (data.get("table") or "").strip()
        if typed and pasted:
            self.add_error(
                "table", "There are runs in the boxes and in the table: clear one of them."
            )
        try:
            data["runs"] = read_table(self.kind, pasted) if pasted else typed
        except Invalid as invalid:
            self.add_error("table", invalid.message)
        if not typed and not pasted and not self.errors:
            self.add_error(None, "Runs: nothing was given. Allowed: at least three runs.")
        if not self.errors:
            self._ask(data["runs"])
        return data

    @property
    def trying(self) -> bool:
        """Whether the runs are only to be worked out, and nothing kept."""
        return TRY in self.data

    def _ask(self, runs: Runs) -> None:
        """A box for the answer to each question, which recording needs."""
        try:
            asked = ask(self.kind, read_runs(self.kind, runs), self.station)
        except (Invalid, BadValueError):
            return  # the action says what can't be used
        self.put(asked, "correct the runs", needed=not self.trying)

    def _typed(self, data: dict[str, Any]) -> list[dict[str, str]]:
        """Rows in which anything stands; a half empty one is told by its number."""
        common = data.get("temperature")
        found = []
        for row in range(1, ROWS + 1):
            names = {name: f"run_{row}_{name}" for name in self.columns}
            values = {name: data.get(field) for name, field in names.items()}
            why = data.get(f"run_{row}_{LEFT_OUT}") or ""
            if all(value is None for value in values.values()) and not why:
                continue
            if TEMPERATURE in values and values[TEMPERATURE] is None:
                values[TEMPERATURE] = common
            for name, value in values.items():
                if value is None and names[name] not in self.errors:
                    self._missing(row, name)
            texts = {name: _text(value) for name, value in values.items()}
            found.append(texts | ({LEFT_OUT: why} if why else {}))
        return found

    def _missing(self, row: int, name: str) -> None:
        """Say so where it is to be typed: the temperature once for all runs."""
        if name != TEMPERATURE:
            self.add_error(f"run_{row}_{name}", f"Run {row} needs all its values.")
        elif TEMPERATURE not in self.errors:
            self.add_error(TEMPERATURE, "Nothing was given: runs are weighed at a temperature.")


def _with_unit(label: str, bounds: Bounds) -> str:
    unit = unit_label(chosen().typed_in(bounds.unit))
    return label if unit == label else f"{label} in {unit}"


def _text(value: Decimal | None) -> str:
    return "" if value is None else format(value, "f")


class FigureForm(QuestionsForm):
    """A figure that was not measured here, why, and by when it is to be measured."""

    reason = forms.CharField(max_length=500, widget=forms.Textarea(attrs={"rows": 2}))
    due_on = forms.DateField(
        label="To be measured by", widget=forms.DateInput(attrs={"type": "date"})
    )
    field_order = ["value", "reason", "due_on"]

    def __init__(self, kind: str, station: Station, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(kind, station, *args, **kwargs)
        warm = kind == Calibration.Kind.TEMPERATURE
        hint = "Measured at the group minus set." if warm else "From papers or another meter."
        label = "Temperature offset" if warm else "Flow meter"
        self.fields["value"] = number(label, FIGURES[kind], hint=hint)
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        """What was typed, with an answer to each question about it."""
        data = super().clean() or {}
        if data.get("value") is not None:
            asked = ask_about_figure(self.kind, data["value"], self.station)
            self.put(asked, "correct the figure")
        return data


class BarometerForm(forms.Form):
    """A barometer's reading at the site."""

    revision = SeenRevision()
    air_pressure = number(
        "Air pressure",
        AIR_PRESSURE,
        required=False,
        hint="As the barometer shows it there, not reduced to sea level. Empty: go by altitude.",
    )
    read_on = forms.DateField(
        label="Read on", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    reason = forms.CharField(
        required=False, max_length=500, help_text="Needed where the reading is not usual."
    )


class RejectForm(forms.Form):
    """Why a calibration is not taken over."""

    revision = SeenRevision()
    reason = forms.CharField(max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))
