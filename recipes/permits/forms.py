"""Which slots may differ, in what, and until when."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import F

from audit.errors import Invalid
from people.signatures.rules import Meaning
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS, Parameter, SetBy
from recipes.permits.plan import check_end
from recipes.publishing.forms import SignPlanForm
from recipes.requests.actions import EVIDENCE, REASON
from recipes.requests.evidence import Recent
from recipes.requests.forms import offer, ticked_in
from recipes.requests.models import ChangeRequest
from stations.equipment.models import Site
from stations.equipment.querysets import SlotQuerySet
from web.fields import PlainDecimalField, SeenRevision
from web.ticks import Ticks

LARGEST = 2**62


class SlotsField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Tick boxes of slots, each with what it holds now."""

    def label_from_instance(self, obj: Any) -> str:  # noqa: ANN401
        """Where it is, and what it should hold."""
        return f"{obj}: {obj.held_title or 'nothing'}"


def with_held(slots: SlotQuerySet) -> SlotQuerySet:
    """Slots annotated with the title of what they should hold now: one query for all."""
    rows: SlotQuerySet = slots.with_condition().annotate(held_title=F("current__settings__title"))
    return rows


class PermitFields(forms.Form):
    """One site's slots, the parameters that change, and the end on that site's clock."""

    slots = SlotsField(None, widget=Ticks)
    date = forms.DateField(label="Ends (day)", widget=forms.DateInput(attrs={"type": "date"}))
    time = forms.TimeField(
        label="Ends (time)",
        help_text="By the site's own clock.",
        widget=forms.TimeInput(attrs={"type": "time"}),
    )

    def __init__(self, *args: Any, site: Site, slots: SlotQuerySet, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.site = site
        offered: Any = self.fields["slots"]
        offered.queryset = with_held(slots.filter(station__machine__site=site).with_equipment())
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


class PermitForm(PermitFields):
    """It stands in the address of the permit's plan, so that the plan can be read before signing.

    ``request`` and ``revision`` are those of the request that the permit answers, as it was seen.
    """

    request = forms.IntegerField(
        required=False, widget=forms.HiddenInput, min_value=1, max_value=LARGEST
    )
    revision = forms.IntegerField(
        required=False, widget=forms.HiddenInput, min_value=0, max_value=LARGEST
    )


class AskPermitForm(PermitFields):
    """What is asked for, why, and on what evidence."""

    reason = forms.CharField(
        max_length=REASON, widget=forms.Textarea,
        help_text="Why these slots have to differ, and what will end it.",
    )  # fmt: skip
    evidence = forms.CharField(
        max_length=EVIDENCE, required=False, widget=forms.Textarea,
        help_text="Shots, times, tastings: what somebody else can check.",
    )  # fmt: skip

    def __init__(self, *args: Any, recent: Recent, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.kinds = offer(self, recent)

    def ticks(self) -> list[forms.BoundField]:
        """The tick boxes of evidence, kind by kind."""
        return [self[name] for name in self.kinds]

    def asked(self) -> dict[str, Any]:
        """What the actions take."""
        given = {name: self.cleaned_data[name] for name in ("changes", "ends_at", "reason")}
        return {
            **given,
            "slots": [slot.pk for slot in self.cleaned_data["slots"]],
            "evidence": self.cleaned_data["evidence"],
            "attached": ticked_in(self.cleaned_data),
        }


class ChangeAskForm(AskPermitForm):
    """One's own request for a permit as it was seen."""

    revision = SeenRevision()


def asked_before(request: ChangeRequest) -> dict[str, object]:
    """A request as a permit's form begins with it: what it asks for that a machine sets.

    One for a change of the recipe is about no slots and no end.
    """
    changes: dict[str, object] = {
        each.code: says.text or says.target
        for each in changeable()
        if (says := request.proposed.get(each.code))
    }
    if request.ends_at is None:
        return changes
    wall = request.ends_at.astimezone(request.site.zone)
    slots = list(request.slots.values_list("slot_id", flat=True))
    return {**changes, "slots": slots, "date": wall.date(), "time": wall.time()}


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
