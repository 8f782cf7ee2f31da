"""Planning a tasting, and entering its answers."""

from collections.abc import Iterator
from copy import copy
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms import BoundField

from recipes.brewing.serving import MOST_SERVINGS, Serving
from recipes.tastings.actions import RISK, SAMPLE, SEED, SHARE
from recipes.tastings.models import METHODS, Tasting
from recipes.tastings.result import session
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.fields import PlainDecimalField, RevisionForm


class TastingForm(forms.Form):
    """What is compared, how, and at which risk."""

    site = forms.ModelChoiceField(Site.objects.none(), empty_label=None)
    method = forms.ChoiceField(choices=METHODS)
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
        help_text="Of finding a difference that is not there: 0.05 is 5\N{NO-BREAK SPACE}%.",
    )  # fmt: skip
    assessments = forms.IntegerField(
        label="Answers", min_value=1, max_value=MOST_SERVINGS, initial=24,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="One for each time somebody tastes.",
    )  # fmt: skip
    share = PlainDecimalField(
        label="Tasters who can tell", bounds=SHARE, initial=Decimal("0.4"),
        help_text=(
            "What you would not want to miss: 0.4 is 40\N{NO-BREAK SPACE}%. Only for the forecast."
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

    def plan(self) -> dict[str, Any]:
        """What the action takes."""
        return {name: self.cleaned_data[name] for name in self.fields if name != "share"}


class AnswersForm(RevisionForm):
    """One choice among the cups of each serving; empty while nobody tasted it."""

    def __init__(self, *args: Any, tasting: Tasting, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.servings: list[Serving] = session(tasting)
        self.given = {answer.number: answer.chosen for answer in tasting.answers.all()}
        for one in self.servings:
            field = forms.ChoiceField(
                label=f"Serving {one.number}",
                choices=[("", "not tasted"), *((code, code) for code in one.codes)],
                required=False,
                initial=self.given.get(one.number, ""),
            )
            field.spare = True  # type: ignore[attr-defined]  # each can be left: no word for it
            self.fields[f"answer_{one.number}"] = field

    def lines(self) -> Iterator[tuple[Serving, BoundField]]:
        """Each serving with its field."""
        for one in self.servings:
            yield one, self[f"answer_{one.number}"]

    def answers(self) -> dict[int, str]:
        """By serving number, the chosen cup's code."""
        return {one.number: self.cleaned_data[f"answer_{one.number}"] for one in self.servings}

    def keep_filled(self) -> None:
        """Take over the answers that stand where nothing was sent: none is to go away unseen."""
        data: Any = copy(self.data)
        for number, chosen in self.given.items():
            data[f"answer_{number}"] = data.get(f"answer_{number}") or chosen
        self.data = data


class AttachForm(RevisionForm):
    """What an opened tasting is evidence for: ``request:7`` or ``version:12``."""

    evidence_for = forms.ChoiceField(label="Evidence for")

    def __init__(self, *args: Any, choices: list[tuple[str, str]], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        field = self.fields["evidence_for"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Choose one"), *choices]
