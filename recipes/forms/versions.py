"""Drafts and what is decided about them."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from people.printing import day
from people.web.signing import SigningForm
from recipes.actions.drafts import NOTE
from recipes.actions.review import COMMENT
from recipes.forms.formula import FormulaForm
from recipes.models import RoastLot, Version
from recipes.parameters import PARAMETERS, Parameter


class LotChoice(forms.ModelChoiceField[RoastLot]):
    """A lot by its code and roast date."""

    def label_from_instance(self, obj: RoastLot) -> str:
        """As a list shows it."""
        return f"{obj.code}, roasted {day(obj.roasted_on)}"


class DraftForm(FormulaForm):
    """A whole draft as it was seen at a revision."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    lot = LotChoice(
        RoastLot.objects.none(),
        label="Roast lot",
        required=False,
        empty_label="None",
        help_text="What it was dialled in with.",
    )
    note = forms.CharField(
        max_length=NOTE, required=False, widget=forms.Textarea,
        help_text="Why this version is the way it is.",
    )  # fmt: skip

    def __init__(self, *args: Any, version: Version, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        lot = self.fields["lot"]
        assert isinstance(lot, LotChoice)
        lot.queryset = version.recipe.coffee.lots.all()


class RevisionForm(forms.Form):
    """A button that acts on what was seen."""

    revision = forms.IntegerField(widget=forms.HiddenInput)


@dataclass(frozen=True, slots=True)
class CommentLine:
    """One parameter and what may be said about it."""

    parameter: Parameter
    field: BoundField


class ReturnForm(RevisionForm):
    """What the author should look at: a comment on the whole, or on single parameters."""

    comment = forms.CharField(
        label="On the whole", max_length=COMMENT, required=False, widget=forms.Textarea
    )

    def __init__(self, *args: Any, codes: list[str], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.codes = codes
        for code in codes:
            self.fields[f"comment_{code}"] = forms.CharField(
                label=f"On {PARAMETERS[code].label.lower()}", max_length=COMMENT, required=False
            )

    def lines(self) -> Iterator[CommentLine]:
        """The parameters, each with its comment's field."""
        for code in self.codes:
            yield CommentLine(PARAMETERS[code], self[f"comment_{code}"])

    def comments(self) -> dict[str, str]:
        """By parameter code, "" for the whole."""
        said = {"": self.cleaned_data["comment"]}
        return said | {code: self.cleaned_data[f"comment_{code}"] for code in self.codes}


class CommentForm(forms.Form):
    """A remark that returns nothing."""

    text = forms.CharField(label="Comment", max_length=COMMENT, widget=forms.Textarea)


class WithdrawForm(RevisionForm):
    """Why it goes out of use."""

    reason = forms.CharField(max_length=COMMENT, widget=forms.Textarea)


class ApproveForm(SigningForm):
    """The signature, over the digest that the page showed."""

    seen_digest = forms.CharField(max_length=64, widget=forms.HiddenInput)
