"""What a machine can set: one line of three numbers for each parameter."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from stations.machine_types.actions import Reach
from stations.machine_types.catalogue import ENDINGS, SETTINGS, Setting, bounds_of, step_bounds_of
from stations.machine_types.models import MachineType
from web.fields import PlainDecimalField, SeenRevision
from web.printing import unit_label
from web.units import chosen

PARTS = {"minimum": "least", "maximum": "most", "resolution": "step"}


@dataclass(frozen=True, slots=True)
class Row:
    """One parameter's line in the form."""

    setting: Setting
    fields: list[BoundField]


class NewMachineTypeForm(forms.Form):
    """A name, the ways a shot can end, and a line for every parameter of the catalogue."""

    name = forms.CharField(
        max_length=80,
        help_text="Such as “Two groups, volumetric”: shared by all machines of the type.",
    )
    ends_by = forms.MultipleChoiceField(
        label="A shot can end by", widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        ends_by = self.fields["ends_by"]
        assert isinstance(ends_by, forms.MultipleChoiceField)  # as declared above
        ends_by.choices = list(ENDINGS.items())
        for setting in SETTINGS.values():
            for part, word in PARTS.items():
                self.fields[f"{setting.code}.{part}"] = _field(setting, part, word)

    def rows(self) -> Iterator[Row]:
        """The lines, for the table."""
        for setting in SETTINGS.values():
            yield Row(setting, [self[f"{setting.code}.{part}"] for part in PARTS])

    def clean(self) -> dict[str, Any]:
        """A line is whole or empty."""
        cleaned = super().clean() or {}
        for code in SETTINGS:
            names = [f"{code}.{part}" for part in PARTS]
            given = [name for name in names if cleaned.get(name) is not None]
            for name in names:
                if given and name not in given and name not in self.errors:
                    self.add_error(name, "Give all three numbers, or none where it can't be set.")
        return cleaned

    def reaches(self) -> dict[str, Reach]:
        """The lines that were filled in."""
        values = self.cleaned_data
        return {
            code: Reach(*(values[f"{code}.{part}"] for part in PARTS))
            for code in SETTINGS
            if values.get(f"{code}.minimum") is not None
        }


class MachineTypeForm(NewMachineTypeForm):
    """A set that is already there."""

    revision = SeenRevision()


def initial_of(machine_type: MachineType) -> dict[str, Any]:
    """What the form shows of a set that is there."""
    shown: dict[str, Any] = {
        "name": machine_type.name,
        "ends_by": machine_type.ends_by,
        "revision": machine_type.revision,
    }
    for ability in machine_type.abilities.all():
        for part in PARTS:
            shown[f"{ability.parameter}.{part}"] = getattr(ability, part)
    return shown


def _field(setting: Setting, part: str, word: str) -> PlainDecimalField:
    bounds = step_bounds_of(setting) if part == "resolution" else bounds_of(setting)
    unit = unit_label(chosen().typed_in(bounds.unit))
    name = f"{setting.label}, {word}, {unit}"
    attrs = {"inputmode": "decimal", "aria-label": name}
    return PlainDecimalField(
        label=f"{setting.label}, {word}",
        bounds=bounds,
        required=False,
        widget=forms.TextInput(attrs=attrs),
    )
