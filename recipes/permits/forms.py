"""Which slots may differ, in what, and until when."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from audit.errors import Invalid
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.rules import Meaning
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS, Parameter, SetBy
from recipes.permits.plan import check_end
from recipes.publishing.forms import SignPlanForm
from stations.equipment.models import Site, Slot
from web.fields import PlainDecimalField


class PermitForm(forms.Form):
    """One site's slots, the parameters that change, and the end on that site's clock.

    It stands in the address of the permit's plan, so that the plan can be read before signing.
    """

    slots: "forms.ModelMultipleChoiceField[Slot]" = forms.ModelMultipleChoiceField(
        None, widget=forms.CheckboxSelectMultiple
    )
    date = forms.DateField(label="Ends (day)", widget=forms.DateInput(attrs={"type": "date"}))
    time = forms.TimeField(
        label="Ends (time)",
        help_text="By the site's own clock.",
        widget=forms.TimeInput(attrs={"type": "time"}),
    )

    def __init__(self, *args: Any, by: User, site: Site, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.site = site
        slots = Slot.objects.covered_by(by, Verb.PERMIT_GRANT).with_equipment()
        self.fields["slots"].queryset = slots.filter(station__machine__site=site)  # type: ignore[attr-defined]
        for parameter in changeable():
            self.fields[parameter.code] = _field(parameter)

    def clean(self) -> dict[str, Any]:
        """The end as an instant, and at least one change."""
        data = super().clean() or {}
        if {"date", "time"} <= data.keys():
            wall = datetime.combine(data["date"], data["time"])
            data["ends_at"] = wall.replace(tzinfo=ZoneInfo(self.site.time_zone))
            try:
                check_end(data["ends_at"])
            except Invalid as invalid:
                self.add_error("date", f"“{wall}” can't be used. Allowed: {invalid.allowed}.")
        data["changes"] = {
            parameter.code: data[parameter.code]
            for parameter in changeable()
            if data.get(parameter.code) not in (None, "")
        }
        if not self.errors and not data["changes"]:
            self.add_error(None, "Changes: nothing was given. Allowed: at least one parameter.")
        return data

    def change_fields(self) -> list[forms.BoundField]:
        """The parameters, for the page to set apart."""
        return [self[parameter.code] for parameter in changeable()]


def changeable() -> list[Parameter]:
    """What a permit can change: whatever a machine sets."""
    return [parameter for parameter in PARAMETERS.values() if parameter.set_by is SetBy.MACHINE]


def _field(parameter: Parameter) -> forms.Field:
    if parameter.choices:
        choices = [("", "As approved"), *parameter.choices]
        return forms.ChoiceField(label=parameter.label, choices=choices, required=False)
    return PlainDecimalField(label=parameter.label, bounds=target_bounds(parameter), required=False)


class SignPermitForm(SignPlanForm):
    """The signature over the permit's plan."""

    signs = Meaning.PERMITTED

    def __init__(self, *args: Any, flagged: bool, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, flagged=flagged, **kwargs)
        self.fields["reason"].help_text = "Why they may differ, and what ends it."


def soon(site: Site, now: datetime) -> dict[str, object]:
    """A week from now on the site's clock: an end to start from, not a rule."""
    wall = (now + timedelta(days=7)).astimezone(site.zone)
    return {"date": wall.date(), "time": wall.time().replace(second=0, microsecond=0)}
