"""Which two versions to put side by side."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from recipes.models import Version


class CompareForm(forms.Form):
    """Two version numbers of one recipe, in the address."""

    old = forms.TypedChoiceField(label="Version", coerce=int)
    new = forms.TypedChoiceField(label="Beside version", coerce=int)

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
