"""Where and when to publish, and the signature under the plan."""

import re
from typing import Any

from django import forms
from django.http import QueryDict

from audit.errors import Invalid
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.fields import SigningForm
from people.signatures.rules import Meaning
from recipes.coffees.models import RoastLot
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Machine, Site, Station
from web.fields import RevisionForm

REASON = 2000
SLOT_NUMBER = re.compile(r"0?[1-9]|[1-9][0-9]")
WHOLE = re.compile(r"[0-9]{1,18}")


class WhereForm(forms.Form):
    """The scope, in the address of the plan: machines and stations are picked within sites."""

    WORDS = (
        (Where.ALL, "All sites"),
        (Where.SITES, "Some sites"),
        (Where.MACHINES, "Some machines"),
        (Where.STATIONS, "Some stations"),
    )
    where = forms.ChoiceField(label="Where", choices=WORDS, widget=forms.RadioSelect, initial="all")
    sites: "forms.ModelMultipleChoiceField[Site]" = forms.ModelMultipleChoiceField(
        None, required=False, widget=forms.CheckboxSelectMultiple, help_text="Not for all sites."
    )
    slots = forms.CharField(
        label="Slot numbers",
        max_length=60,
        required=False,
        help_text="Such as 1, or 1 3. Empty: every slot there.",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    date = forms.DateField(
        label="From (day)", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    time = forms.TimeField(
        label="From (time)",
        required=False,
        help_text="By each site's own clock. Both empty: at once.",
        widget=forms.TimeInput(attrs={"type": "time"}),
    )
    lot = forms.ModelChoiceField(
        RoastLot.objects.none(),
        label="Or with a lot",
        required=False,
        empty_label="not with a lot",
        help_text="Each site begins when it opens this bag; where it has, at once.",
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401
        by: User,
        version: Version,
        picked: QueryDict | None = None,
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        """``picked`` is the address; it decides whether machines or stations are asked for."""
        super().__init__(*args, **kwargs)
        lots = RoastLot.objects.filter(coffee=version.recipe.coffee_id).select_related("coffee")
        self.fields["lot"].queryset = lots  # type: ignore[attr-defined]
        picked = picked or (self.data if isinstance(self.data, QueryDict) else QueryDict())
        self.fields["sites"].queryset = Site.objects.covered_by(by, Verb.PUBLICATION_SIGN)  # type: ignore[attr-defined]
        asked = [int(pk) for pk in picked.getlist("sites") if WHOLE.fullmatch(pk)]
        sites = list(self.fields["sites"].queryset.filter(pk__in=asked))  # type: ignore[attr-defined]
        where = picked.get("where", "")
        narrower = {"machines": _machines, "stations": _stations}.get(where)
        # First the sites, then what is in them: twelve thousand check boxes help nobody.
        self.unpicked = bool(narrower and sites and where not in picked)
        if narrower:
            self.fields[where] = narrower(sites)

    def clean_slots(self) -> tuple[int, ...]:
        """Whole numbers, however they are separated."""
        words = self.cleaned_data["slots"].replace(",", " ").split()
        if not all(SLOT_NUMBER.fullmatch(word) for word in words):
            raise forms.ValidationError(
                f"Slot numbers: “{self.cleaned_data['slots']}” can't be used."
                " Allowed: whole numbers from 1 to 99, such as 1 3."
            )
        return tuple(int(word) for word in words)

    def clean(self) -> dict[str, Any]:
        """Build scope and moment, so that what they refuse is said here."""
        data = super().clean() or {}
        if self.errors:
            return data
        try:
            where = Where(data["where"])
            picked = data.get(where.value) or ()
            data["scope"] = Scope(where, tuple(each.pk for each in picked), data["slots"])
            data["when"] = When(data.get("date"), data.get("time"), data.get("lot"))
        except Invalid as invalid:
            field = invalid.field if invalid.field in self.fields else None
            self.add_error(field, invalid.message)
        return data


def _machines(sites: list[Site]) -> "_Placed":
    return _Placed(Machine.objects.filter(site__in=sites).select_related("site"), "machines")


def _stations(sites: list[Site]) -> "_Placed":
    rows = Station.objects.filter(machine__site__in=sites).with_equipment()
    return _Placed(rows, "stations")


class _Placed(forms.ModelMultipleChoiceField[Any]):
    """Check boxes that say at which site each machine or station is."""

    def __init__(self, rows: Any, label: str) -> None:  # noqa: ANN401
        super().__init__(
            rows, required=False, label=label.capitalize(), widget=forms.CheckboxSelectMultiple
        )

    def label_from_instance(self, obj: Any) -> str:  # noqa: ANN401
        """Site first."""
        site = obj.site if isinstance(obj, Machine) else obj.machine.site
        return f"{site} · {obj}"


class SignPlanForm(SigningForm):
    """The signature over the plan that was shown."""

    signs = Meaning.PUBLISHED

    seen_digest = forms.CharField(max_length=64, widget=forms.HiddenInput)
    # What the stations' own water was learnt from, so that shots logged meanwhile move nothing.
    learnt_until = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    reason = forms.CharField(
        max_length=REASON,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Why it goes out now. Every slot's history shows it.",
    )
    acknowledged = forms.BooleanField(
        label="I have read the warnings above and accept them by name", required=False
    )

    def __init__(self, *args: Any, flagged: bool, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if not flagged:
            del self.fields["acknowledged"]


class ReasonForm(RevisionForm):
    """Why a publication is stopped, resumed or cancelled, or a permit ended."""

    reason = forms.CharField(max_length=REASON, widget=forms.Textarea(attrs={"rows": 2}))
