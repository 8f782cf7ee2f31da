"""Where and when to publish, and the signature under the plan."""

import re
from enum import StrEnum
from typing import Any

from django import forms
from django.db.models import QuerySet
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
from recipes.versions.standing import Standing
from stations.equipment.models import Machine, Site, Station
from web.fields import RevisionForm
from web.ticks import Ticks

REASON = 2000
SLOT_NUMBER = re.compile(r"0?[1-9]|[1-9][0-9]")
AT_ONCE = 120  # stations to tick; twelve thousand boxes help nobody: first the sites, then these
WHOLE = re.compile(r"[0-9]{1,18}")


WORDS: dict[str, str] = {
    Where.ALL: "All sites",
    Where.SITES: "Some sites",
    Where.MACHINES: "Some machines",
    Where.STATIONS: "Some stations",
}


class Which(StrEnum):
    """Which of the slots at the places chosen."""

    HELD = "held"
    NUMBERED = "numbered"
    EVERY = "every"


class WhereForm(forms.Form):
    """The scope, in the address of the plan. By default it goes where its recipe is in force."""

    which = forms.ChoiceField(
        label="Which slots",
        widget=forms.RadioSelect,
        error_messages={"required": "Say which slots: no plan is for every slot by itself."},
    )
    slots = forms.CharField(
        label="Slot numbers",
        max_length=60,
        required=False,
        help_text="Such as 1, or 1 3.",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    where = forms.ChoiceField(
        label="Where", choices=WORDS, widget=forms.RadioSelect, initial=Where.ALL
    )
    sites: "forms.ModelMultipleChoiceField[Site]" = forms.ModelMultipleChoiceField(
        None, required=False, widget=Ticks
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
        standing: Standing | None = None,
        picked: QueryDict | None = None,
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        """``picked`` is the address, ``standing`` where its recipe is in force now.

        Beyond `AT_ONCE` stations the address decides at which sites they are asked for.
        """
        super().__init__(*args, **kwargs)
        self.by, self.version = by, version
        if isinstance(self.data, QueryDict) and "which" not in self.data:
            self.data = _numbers_are_meant(self.data)
        self._offer(standing or Standing([]))
        lots = RoastLot.objects.filter(coffee=version.recipe.coffee_id).select_related("coffee")
        self.fields["lot"].queryset = lots  # type: ignore[attr-defined]
        self.fields["sites"].queryset = Site.objects.covered_by(by, Verb.PUBLICATION_SIGN)  # type: ignore[attr-defined]
        picked = picked or (self.data if isinstance(self.data, QueryDict) else QueryDict())
        self._place(picked)

    def _offer(self, standing: Standing) -> None:
        """The ways to choose slots; the first only where the recipe is in force somewhere."""
        held = f"Where the recipe is in force now: {standing.words}"
        words = [(Which.HELD, held), (Which.EVERY, "Every slot"), (Which.NUMBERED, "By number")]
        self.fields["which"].widget.choices = words if standing.rows else words[1:]
        self.fields["which"].choices = words  # type: ignore[attr-defined]
        self.initial.setdefault("which", Which.HELD if standing.rows else Which.NUMBERED)

    def _place(self, picked: QueryDict) -> None:
        """Machines and stations: of every site at once, or first the sites, then what is there."""
        sites = self.fields["sites"].queryset  # type: ignore[attr-defined]
        self.at_once = (
            Station.objects.covered_by(self.by, Verb.PUBLICATION_SIGN)[: AT_ONCE + 1].count()
            <= AT_ONCE
        )
        asked = [int(pk) for pk in picked.getlist("sites") if WHOLE.fullmatch(pk)]
        within = sites if self.at_once else sites.filter(pk__in=asked)
        where = picked.get("where", "")
        narrowed = not self.at_once and bool(asked)
        self.unpicked = narrowed and where in NARROWER and where not in picked
        for name, field in NARROWER.items():
            if self.at_once or name == where:
                self.fields[name] = field(within)

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
        self._refuse_what_would_be_left_out(data)
        if self.errors:
            return data
        try:
            data["scope"] = self._scope(data)
            data["scope"].must_exist(self.by)
            data["when"] = When(data.get("date"), data.get("time"), data.get("lot"))
        except Invalid as invalid:
            name = "slots" if invalid.field == "slot_numbers" else invalid.field
            self.add_error(name if name in self.fields else None, invalid.message)
        return data

    def _scope(self, data: dict[str, Any]) -> Scope:
        where = Where(data["where"])
        picked = data.get(where.value) or ()
        held = data["which"] == Which.HELD
        return Scope(
            where, tuple(each.pk for each in picked), data["slots"],
            self.version.recipe_id if held else None,
        )  # fmt: skip

    def _refuse_what_would_be_left_out(self, data: dict[str, Any]) -> None:
        """Whoever ticks a site and leaves “All sites” means one of the two."""
        which, where = data.get("which"), data.get("where", "")
        if which == Which.NUMBERED and data.get("slots") == ():
            self.add_error("slots", "Which numbers? Such as 1, or 1 3.")
        if which in (Which.HELD, Which.EVERY) and data.get("slots"):
            self.add_error("slots", "Numbers count with “By number” alone: choose that, or none.")
        for name in ("sites", "machines", "stations"):
            # Sites stay ticked while their machines or stations are chosen.
            if data.get(name) and where not in (name, *(NARROWER if name == "sites" else ())):
                self.add_error(name, f"Ticked, but chosen above: {WORDS.get(where, where)}.")


def _numbers_are_meant(asked: QueryDict) -> QueryDict:
    """An address that names slot numbers alone; one that names none says nothing of slots."""
    given = asked.copy()
    if given.get("slots", "").strip():
        given["which"] = Which.NUMBERED.value
    return given


def _machines(sites: QuerySet[Site]) -> "_Placed":
    return _Placed(Machine.objects.filter(site__in=sites).select_related("site"), "machines")


def _stations(sites: QuerySet[Site]) -> "_Placed":
    rows = Station.objects.filter(machine__site__in=sites).with_equipment()
    return _Placed(rows, "stations")


NARROWER = {"machines": _machines, "stations": _stations}


class _Placed(forms.ModelMultipleChoiceField[Any]):
    """Check boxes that say at which site each machine or station is."""

    def __init__(self, rows: Any, label: str) -> None:  # noqa: ANN401
        super().__init__(rows, required=False, label=label.capitalize(), widget=Ticks)

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
