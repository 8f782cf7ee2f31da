"""Drafts and what is decided about them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms import BoundField

from people.signatures.fields import SigningForm
from people.signatures.rules import Meaning
from recipes.coffees.models import Recipe, RoastLot
from recipes.formula.forms import FormulaForm
from recipes.formula.parameters import PARAMETERS, Parameter
from recipes.formula.sides import SidesForm
from recipes.versions.drafts import NOTE
from recipes.versions.models import Version
from recipes.versions.questions import REASON, Question
from recipes.versions.review import COMMENT
from web.fields import RevisionForm, SeenRevision, unmarked
from web.printing import day


class LotChoice(forms.ModelChoiceField[RoastLot]):
    """A lot by its code and roast date."""

    def label_from_instance(self, obj: RoastLot) -> str:
        """As a list shows it."""
        return f"{obj.code}, roasted {day(obj.roasted_on)}"


class DraftForm(FormulaForm):
    """A whole draft as it was seen at a revision."""

    revision = SeenRevision()
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


class MoveForm(SidesForm):
    """For each parameter in which a draft differs from what was approved since: which holds."""

    kept = "Keep what the draft says"


class CapturedForm(forms.Form):
    """Which recipe a shot on a slot set by hand is a draft of."""

    recipe = forms.ModelChoiceField(Recipe.objects.none(), empty_label="Choose")

    def __init__(self, *args: Any, recipes: QuerySet[Recipe], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        field = self.fields["recipe"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = recipes


class SubmitForm(RevisionForm):
    """A draft as it was seen, with the reason for each thing that is unusual of it."""

    def __init__(self, *args: Any, questions: Sequence[Question], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.questions = questions
        for each in questions:
            self.fields[each.field] = forms.CharField(
                label=each.words,
                max_length=REASON,
                required=False,
                initial=each.answer.reason if each.answer else "",
                widget=forms.Textarea(attrs={"rows": 2}),
            )
            unmarked(self.fields[each.field])

    @property
    def answered(self) -> bool:
        """Whether the questions were on the page that was sent."""
        return any(each.field in self.data for each in self.questions)

    def answers(self) -> dict[str, str]:
        """The reasons by question."""
        return {each.key: self.cleaned_data[each.field] for each in self.questions}


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
        by_code = {"": self.cleaned_data["comment"]}
        return by_code | {code: self.cleaned_data[f"comment_{code}"] for code in self.codes}


class CommentForm(forms.Form):
    """A remark that returns nothing."""

    text = forms.CharField(label="Comment", max_length=COMMENT, widget=forms.Textarea)


class WithdrawForm(RevisionForm):
    """Why it goes out of use."""

    reason = forms.CharField(max_length=COMMENT, widget=forms.Textarea)


class ApproveForm(SigningForm):
    """The signature, over the digest that the page showed."""

    signs = Meaning.APPROVED

    seen_digest = forms.CharField(max_length=64, widget=forms.HiddenInput)


class CompareForm(forms.Form):
    """Two version numbers of one recipe, in the address."""

    old = forms.TypedChoiceField(label="Version", coerce=int)
    new = forms.TypedChoiceField(label="Compare with version", coerce=int)

    def __init__(self, data: Any, *, versions: Sequence[Version]) -> None:  # noqa: ANN401
        super().__init__(data)
        self.versions = {version.number: version for version in versions}
        choices = [
            (version.number, f"{version.number} ({version.get_state_display()})")
            for version in versions
        ]
        for name in ("old", "new"):
            field = self.fields[name]
            assert isinstance(field, forms.TypedChoiceField)
            field.choices = choices

    @staticmethod
    def newest(versions: Sequence[Version]) -> Mapping[str, object] | None:
        """The newest and the one before, if there are two; versions come newest first."""
        if len(versions) < 2:
            return None
        return {"old": versions[1].number, "new": versions[0].number}

    def sides(self) -> tuple[Version, Version]:
        """The two versions, once valid."""
        return self.versions[self.cleaned_data["old"]], self.versions[self.cleaned_data["new"]]
