"""Asking for other values, and deciding about it."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.db.models import QuerySet

from recipes.formula.forms import FormulaForm, ParameterFields
from recipes.formula.formula import Formula
from recipes.requests.actions import EVIDENCE, REASON
from recipes.requests.decisions import WORDS
from recipes.requests.evidence import NAMES, Attached, Offered, Recent
from recipes.requests.models import ChangeRequest
from stations.equipment.models import Site
from web.fields import SeenRevision
from web.lookup import DIGITS


class TicksField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Tick boxes of one kind of evidence, each with its figures."""

    def __init__(self, offered: Offered) -> None:
        super().__init__(
            offered.rows, label=offered.kind.label, required=False,
            widget=forms.CheckboxSelectMultiple,
        )  # fmt: skip
        self.offered = offered

    def label_from_instance(self, obj: Any) -> str:  # noqa: ANN401
        """As its kind says it."""
        return self.offered.kind.words(obj)

    def show(self, ticked: Sequence[object]) -> bool:
        """Offer the newest and what is ticked: bars pull more while somebody writes."""
        given = {str(pk) for pk in ticked}
        shown = {int(pk) for pk in given if pk.isdecimal() and len(pk) <= DIGITS}
        rows = self.offered.rows.filter(pk__in=shown | self.offered.newest)
        self.choices = [(row.pk, self.label_from_instance(row)) for row in rows]
        return bool(self.choices)


def offer(form: forms.Form, recent: Recent) -> list[str]:
    """Give a form the tick boxes of each kind of which there is any; returns their names."""
    for name, offered in recent.items():
        field = form.fields[name] = TicksField(offered)
        if not field.show(form[name].value() or []):
            del form.fields[name]
    return [name for name in recent if name in form.fields]


def ticked_in(cleaned: Mapping[str, Any]) -> Attached:
    """What was ticked of each kind."""
    return Attached.of(**{name: [row.pk for row in cleaned.get(name) or []] for name in NAMES})


class EvidenceForm(forms.Form):
    """Which of one's open requests takes it, as it was seen."""

    to = forms.ChoiceField(
        label="Request",
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "It was changed meanwhile: look at it, then choose."},
    )

    def __init__(self, *args: Any, mine: Sequence[ChangeRequest], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.mine = {f"{each.pk}-{each.revision}": each for each in mine}
        self.fields["to"].choices = [  # type: ignore[attr-defined]
            (key, f"Request {each.pk}: {each.base}") for key, each in self.mine.items()
        ]


class ProposalForm(FormulaForm):
    """New values beside the approved ones, why, and what was seen."""

    reason = forms.CharField(
        max_length=REASON, widget=forms.Textarea, help_text="What is wrong in the cup, and why."
    )
    evidence = forms.CharField(
        max_length=EVIDENCE, required=False, widget=forms.Textarea,
        help_text="Shots, times, tastings: what somebody else can check.",
    )  # fmt: skip

    def __init__(self, *args: Any, base: Formula, recent: Recent, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.base = base
        self.kinds = offer(self, recent)

    def ticks(self) -> list[forms.BoundField]:
        """The tick boxes of evidence, kind by kind."""
        return [self[name] for name in self.kinds]

    def attached(self) -> Attached:
        """What was ticked."""
        return ticked_in(self.cleaned_data)

    def used(self) -> list[ParameterFields]:
        """The parameters that the version states: most requests are about one of these."""
        return [line for line in self.lines() if line.parameter.code in self.base]

    def unused(self) -> list[ParameterFields]:
        """Those it does not state."""
        return [line for line in self.lines() if line.parameter.code not in self.base]

    @property
    def more_typed(self) -> bool:
        """Whether a tolerance, or a parameter not in use, was typed or is wrong: shown then."""
        plain = {
            "reason",
            "evidence",
            *NAMES,
            "site",
            "seen_base",
            "revision",
            "__all__",
            *self.base,
        }
        return self.is_bound and bool({*self.changed_data, *self.errors} - plain)

    def clean(self) -> None:
        """A request proposes values; an emptied field would propose nothing, unnoticed."""
        wanted = self.values()
        for code in self.base:
            if code not in wanted and code not in self.errors:
                self.add_error(code, "Give a value. To drop a parameter, say so in the reason.")


class NewRequestForm(ProposalForm):
    """A new request names the site that asks."""

    site = forms.ModelChoiceField(Site.objects.none(), empty_label=None)
    seen_base = forms.IntegerField(  # the version whose values were shown
        widget=forms.HiddenInput, required=False, min_value=1, max_value=2**62
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        site = self.fields["site"]
        assert isinstance(site, forms.ModelChoiceField)
        site.queryset = sites


class ChangeRequestForm(ProposalForm):
    """One's own request as it was seen."""

    revision = SeenRevision()


class DecisionForm(forms.Form):
    """Accept, decline or ask back."""

    CHOICES = (
        ("accept", "Accept: draft a version with these values"),
        ("ask_back", "Ask back: the author answers first"),
        ("decline", "Decline"),
    )
    decision = forms.ChoiceField(choices=CHOICES, widget=forms.RadioSelect)
    reason = forms.CharField(
        max_length=WORDS, required=False, widget=forms.Textarea,
        help_text="Needed to decline or to ask back.",
    )  # fmt: skip
    revision = SeenRevision()

    def __init__(self, *args: Any, change: ChangeRequest, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if change.asks_for_permit:  # which is granted on a page of its own, under a signature
            decision: Any = self.fields["decision"]
            decision.choices = [each for each in self.CHOICES if each[0] != "accept"]
