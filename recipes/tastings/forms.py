"""Planning a tasting, and entering its answers."""

from collections.abc import Iterator
from copy import copy
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms import BoundField

from recipes.brewing.serving import MOST_SERVINGS, Serving
from recipes.brewing.taste import Method
from recipes.tastings.actions import MOST_EACH, NOTE, RISK, SAMPLE, SEED
from recipes.tastings.models import METHODS, Aim, Tasting
from recipes.tastings.prospect import SHARE
from recipes.tastings.result import session, sheets_of
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.fields import PlainDecimalField, RevisionForm, unmarked


class TastingForm(forms.Form):
    """What is compared, how, and at which risk."""

    site = forms.ModelChoiceField(Site.objects.none(), empty_label=None)
    method = forms.ChoiceField(choices=METHODS)
    aim = forms.ChoiceField(
        label="To show", choices=Aim, initial=Aim.DIFFERENCE,
        help_text="The same, near enough, is for a triangle or a duo-trio: is the cheaper lot it?",
    )  # fmt: skip
    base = forms.ModelChoiceField(
        Version.objects.none(), label="Sample A is version", required=False,
        empty_label="none: described",
    )  # fmt: skip
    first_sample = forms.CharField(label="Sample A described", max_length=SAMPLE, required=False)
    other = forms.ModelChoiceField(
        Version.objects.none(), label="Sample B is version", required=False,
        empty_label="none: described",
    )  # fmt: skip
    second_sample = forms.CharField(label="Sample B described", max_length=SAMPLE, required=False)
    risk = PlainDecimalField(
        bounds=RISK, initial=Decimal("0.05"),
        help_text=(
            "Of finding a difference that is not there, or a sameness: 0.05 is"
            " 5\N{NO-BREAK SPACE}%."
        ),
    )  # fmt: skip
    assessments = forms.IntegerField(
        label="Answers", min_value=1, max_value=MOST_SERVINGS, initial=24,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="One for each time somebody tastes.",
    )  # fmt: skip
    servings_each = forms.IntegerField(
        label="Of each taster", min_value=1, max_value=MOST_EACH, initial=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="Each taster has a sheet of their own. For the same, near enough: 1.",
    )  # fmt: skip
    share = PlainDecimalField(
        label="Tasters who can tell", bounds=SHARE, initial=Decimal("0.4"),
        help_text=(
            "For a difference, what you would not want to miss (forecast only); for the same, the"
            " most that may tell. 0.4 is 40\N{NO-BREAK SPACE}%."
        ),
    )  # fmt: skip
    seed = forms.CharField(
        label="Order number",
        max_length=SEED,
        required=False,
        help_text="The same number gives the same order and codes again. Empty: one is chosen.",
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401
        sites: QuerySet[Site],
        versions: QuerySet[Version],
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, rows in (("site", sites), ("base", versions), ("other", versions)):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows

    def clean(self) -> dict[str, Any]:
        """What the forecast can't be asked for, before it is."""
        sent = super().clean() or {}
        method = Method(sent.get("method", Method.TRIANGLE))
        if sent.get("aim") == Aim.SIMILARITY and method.is_preference:
            self.add_error("method", "Choose triangle or duo-trio to show that they are the same.")
        return sent

    def plan(self) -> dict[str, Any]:
        """What the action takes."""
        plan = {name: self.cleaned_data[name] for name in self.fields}
        # A difference is planned without one: how many can tell is what it asks.
        return plan | ({} if plan["aim"] == Aim.SIMILARITY else {"share": None})


class AnswersForm(RevisionForm):
    """One choice among the cups of each serving; empty while nobody tasted it."""

    def __init__(self, *args: Any, tasting: Tasting, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.servings: list[Serving] = session(tasting)
        self.tasting = tasting
        self.given = {answer.number: answer for answer in tasting.answers.all()}
        # Among the form's own initial values, which a page shows where somebody else was quicker.
        for number, given in self.given.items():
            self.initial[f"answer_{number}"] = given.chosen
            self.initial[f"note_{number}"] = given.note
        for one in self.servings:
            field = forms.ChoiceField(
                label=f"Serving {one.number}",
                choices=[("", "not tasted"), *((code, code) for code in one.codes)],
                required=False,
            )
            note = forms.CharField(
                label=f"Taster\N{RIGHT SINGLE QUOTATION MARK}s words on serving {one.number}",
                max_length=NOTE,
                required=False,
            )
            self.fields[f"answer_{one.number}"] = unmarked(field)
            self.fields[f"note_{one.number}"] = unmarked(note)

    def tasters(self) -> Iterator[tuple[int, list[tuple[BoundField, BoundField]]]]:
        """Each taster's number with the fields of what they taste."""
        for taster, own in sheets_of(self.tasting):
            fields = [(self[f"answer_{one.number}"], self[f"note_{one.number}"]) for one in own]
            yield taster, fields

    def answers(self) -> dict[int, str]:
        """By serving number, the chosen cup's code."""
        return self._sent("answer")

    def notes(self) -> dict[int, str]:
        """By serving number, the taster's words."""
        return self._sent("note")

    def _sent(self, name: str) -> dict[int, str]:
        return {one.number: self.cleaned_data[f"{name}_{one.number}"] for one in self.servings}

    def keep_filled(self) -> None:
        """Take over the answers that stand where nothing was sent: none is to go away unseen."""
        data: Any = copy(self.data)
        for number, given in self.given.items():
            for name, stood in (("answer", given.chosen), ("note", given.note)):
                data[f"{name}_{number}"] = data.get(f"{name}_{number}") or stood
        self.data = data


class AttachForm(RevisionForm):
    """What an opened tasting is evidence for: ``request:7`` or ``version:12``."""

    evidence_for = forms.ChoiceField(label="Evidence for")

    def __init__(self, *args: Any, choices: list[tuple[str, str]], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        field = self.fields["evidence_for"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Choose one"), *choices]
