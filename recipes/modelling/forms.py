"""A change to be poured by the shot model, and the station whose fit it is poured with."""

from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Exists, OuterRef, QuerySet

from people.persons.models import User
from recipes.formula.formula import Formula, target_bounds
from recipes.formula.parameters import ENDED_BY, PARAMETERS
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.metrology.formula import BEVERAGE
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.fields import PlainDecimalField
from web.numbers import Bounds
from web.printing import quantity

CHANGEABLE = [code for code, parameter in PARAMETERS.items() if parameter.modelled]
COARSER = Bounds(Decimal(-30), Decimal(30), places=2, unit="%")


def stations_brewing(version: Version, user: User) -> QuerySet[Station]:
    """The stations of this person's that hold some version of its recipe, or poured one."""
    signed = Version.objects.filter(recipe=version.recipe_id, signature__isnull=False)
    digests = signed.exclude(content_digest="").values("content_digest")
    here = {"slot__station": OuterRef("pk")}
    shots = CheckShot.objects.counted().filter(
        **here, placement__settings__content_digest__in=digests
    )
    held = Placement.objects.in_force().filter(**here, settings__content_digest__in=digests)
    rows = Station.objects.covered_by(user).with_equipment()
    stations: QuerySet[Station] = rows.filter(Exists(shots) | Exists(held))
    return stations


def changeable(formula: Formula) -> list[str]:
    """The parameters a change can be tried of: not those that only follow from the others."""
    ends_by = (
        formula.ends_by if formula.ends_by in ENDED_BY else PARAMETERS[BEVERAGE].only_if_ends_by
    )
    # A taper begins at a share of the water, whatever ends the shot.
    shares = {PARAMETERS[code].percent_of for code in formula if code in PARAMETERS}
    return [
        code
        for code in CHANGEABLE
        if code in shares or PARAMETERS[code].only_if_ends_by in ("", ends_by)
    ]


class StationChoice(forms.ModelChoiceField[Station]):
    """Stations by the names they have at the bar."""

    def label_from_instance(self, station: Station) -> str:
        """Site, machine and number."""
        return f"{station.machine.site}, {station.machine}, station {station.number}"


class ChangeForm(forms.Form):
    """Other targets for some parameters; an empty one stays as the version says."""

    coarser = PlainDecimalField(
        label="Grind coarser by",
        bounds=COARSER,
        required=False,
        help_text="Minus for finer",
    )

    def __init__(self, *args: Any, formula: Formula, stations: QuerySet[Station]) -> None:  # noqa: ANN401
        super().__init__(*args)
        self.codes = changeable(formula)
        for code in self.codes:
            parameter, says = PARAMETERS[code], formula.of(code).target
            self.fields[code] = PlainDecimalField(
                label=parameter.label, bounds=target_bounds(parameter), required=False,
                help_text="Not stated" if says is None else f"Now {quantity(says, parameter.unit)}",
            )  # fmt: skip
        station = StationChoice(
            stations,
            required=False,
            empty_label="the nearest with a fit",
            help_text="Holds this recipe, or did",
        )
        self.fields = {"station": station, **self.fields}
        self.order_fields(["station", *self.codes, "coarser"])

    def changed(self, formula: Formula) -> Formula:
        """The formula with what was typed."""
        typed = {code: self.cleaned_data[code] for code in self.codes}
        return formula.with_targets({code: new for code, new in typed.items() if new is not None})

    def grind_factor(self) -> float:
        """How much coarser: 1.05 is by 5 %."""
        return grind_factor(self.cleaned_data["coarser"])


def grind_factor(coarser: Decimal | None) -> float:
    """From %: 5 is 1.05 times as coarse."""
    return 1.0 if coarser is None else float(1 + coarser / 100)


class FitForm(forms.Form):
    """The version whose shots are learnt from."""

    version = forms.IntegerField(min_value=1, max_value=2_000_000_000, widget=forms.HiddenInput)
