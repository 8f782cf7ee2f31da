"""A menu's name and arrangement, which site follows it, and where and when it is published."""

from collections.abc import Iterable
from typing import Any

from django import forms

from audit.errors import Invalid
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.menus.drafts import Arrangement
from recipes.menus.models import MOST_SLOT_NUMBER, NAME, Menu, MenuVersion
from recipes.publishing.timing import When
from recipes.versions.drafts import NOTE
from recipes.versions.models import Version
from recipes.versions.review import COMMENT
from stations.equipment.models import Site, Slot
from web.fields import RevisionForm, SeenRevision, unmarked
from web.ticks import Ticks


class MenuForm(forms.Form):
    """A new menu: empty, or like a site."""

    name = forms.CharField(max_length=NAME, help_text="Such as Spring, or City bars.")
    like = unmarked(
        forms.ModelChoiceField(
            Site.objects.none(), required=False, empty_label="no site: begin empty",
            help_text="Begins with what that site's slots should hold now.",
        )
    )  # fmt: skip

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.fields["like"].queryset = Site.objects.covered_by(by, Verb.SLOT_VIEW)  # type: ignore[attr-defined]


def _numbers_there_are() -> list[int]:
    """Every slot number that some station has."""
    numbers = Slot.objects.filter(number__lte=MOST_SLOT_NUMBER).order_by("number")
    return list(numbers.values_list("number", flat=True).distinct())


class ArrangementForm(forms.Form):
    """A whole draft as it was seen at a revision: a version, or none, on every slot number."""

    revision = SeenRevision()

    def __init__(self, *args: Any, menu_version: MenuVersion, **kwargs: Any) -> None:  # noqa: ANN401
        says = menu_version.arrangement
        stored: dict[str, object] = {f"slot_{n}": version.pk for n, version in says.items()}
        kwargs["initial"] = stored | {"revision": menu_version.revision, "note": menu_version.note}
        super().__init__(*args, **kwargs)
        self.numbers = sorted({*_numbers_there_are(), *says})
        offered = _choices(says.values())
        for number in self.numbers:
            choice = forms.TypedChoiceField(
                label=f"Slot {number}", choices=offered, coerce=int, empty_value=None,
                required=False,
            )  # fmt: skip
            self.fields[f"slot_{number}"] = unmarked(choice)
        self.fields["note"] = forms.CharField(
            max_length=NOTE, required=False, widget=forms.Textarea(attrs={"rows": 3}),
            help_text="Why this version of the menu is the way it is.",
        )  # fmt: skip

    def arrangement(self) -> Arrangement:
        """Slot number to version, of what is chosen."""
        chosen = {number: self.cleaned_data[f"slot_{number}"] for number in self.numbers}
        return {number: pk for number, pk in chosen.items() if pk is not None}


def _choices(standing: Iterable[Version]) -> list[tuple[str | int, str]]:
    """Nothing, every approved version, and what stands there although it is approved no more."""
    approved = list(Version.objects.approved().with_recipe().order_by("recipe"))
    known = {version.pk for version in approved}
    old = {version.pk: version for version in standing if version.pk not in known}
    return [
        ("", "not on the menu"),
        *((version.pk, str(version)) for version in approved),
        *((pk, f"{version} ({version.get_state_display()})") for pk, version in old.items()),
    ]


class RemarkForm(RevisionForm):
    """Why a menu goes back to its author."""

    remark = forms.CharField(
        label="What to look at", max_length=COMMENT, widget=forms.Textarea(attrs={"rows": 3})
    )


class FollowForm(forms.Form):
    """Which menu a site follows; ``instead_of`` is what it was seen to follow."""

    menu = unmarked(
        forms.ModelChoiceField(
            Menu.objects.all(), required=False, empty_label="follow no menu",
            help_text="Nothing is placed by this: publish the menu there.",
        )
    )  # fmt: skip
    instead_of = forms.IntegerField(required=False, widget=forms.HiddenInput)


class WhereForm(forms.Form):
    """Which of the sites that follow get it, and when; in the address of the plan."""

    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(), widget=Ticks,
        help_text="Those that follow this menu.",
    )  # fmt: skip
    date = forms.DateField(
        label="From (day)", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    time = forms.TimeField(
        label="From (time)", required=False, widget=forms.TimeInput(attrs={"type": "time"}),
        help_text="By each site's own clock. Both empty: at once.",
    )  # fmt: skip

    def __init__(self, *args: Any, followers: list[Site], **kwargs: Any) -> None:  # noqa: ANN401
        everywhere = [site.pk for site in followers]
        kwargs["initial"] = {"sites": everywhere}
        super().__init__(*args, **kwargs)
        self.fields["sites"].queryset = Site.objects.filter(pk__in=everywhere)  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Build the moment, so that what it refuses is said here."""
        data = super().clean() or {}
        if self.errors:
            return data
        try:
            data["when"] = When(data.get("date"), data.get("time"))
        except Invalid as invalid:
            self.add_error(invalid.field, invalid.message)
        return data
