"""What is charted, by which rules, beside which station."""

from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import QuerySet

from stations.charts.actions import FEWEST
from stations.charts.charting import CHARTED, FIRST, RULES
from stations.charts.comparing import MARGIN, USUAL_MARGIN
from stations.charts.lineage import SHOWN
from stations.equipment.models import Station
from stations.shots.judging import BOUNDS, LABELS
from web.fields import PlainDecimalField

RULE_WORDS = [("nelson", "Nelson"), ("western", "Western Electric"), ("limits", "limits only")]
assert {name for name, _ in RULE_WORDS} == RULES.keys()


class StationField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """Stations under their site's name: several bars have a front counter."""

    def label_from_instance(self, obj: Any) -> str:  # noqa: ANN401
        """As a list of several sites' stations names it."""
        return f"{obj.machine.site}, {obj}"


class ChartForm(forms.Form):
    """Filters of the page."""

    content = forms.ChoiceField(label="Recipe", required=False)
    value = forms.ChoiceField(choices=[(code, LABELS[code]) for code in CHARTED], required=False)
    rules = forms.ChoiceField(label="Run rules", choices=RULE_WORDS, required=False)
    beside = StationField(
        Station.objects.none(), label="Compare with", required=False, empty_label="no station"
    )
    margin = PlainDecimalField(label="Same within", bounds=MARGIN, required=False)

    def __init__(
        self,
        *args: Any,  # noqa: ANN401
        contents: dict[str, str],
        others: QuerySet[Station],
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*args, **kwargs)
        content, beside = self.fields["content"], self.fields["beside"]
        assert isinstance(content, forms.ChoiceField)
        assert isinstance(beside, forms.ModelChoiceField)
        content.choices = list(contents.items())
        beside.queryset = others
        asked = str(self.data.get("value") or CHARTED[0])
        unit = BOUNDS[asked if asked in CHARTED else CHARTED[0]].unit
        self.fields["margin"].widget.attrs["data-unit"] = unit
        self.contents = contents

    def wanted(self) -> tuple[str, str, str, Station | None, Decimal]:
        """Content digest, value, rules, other station and margin, with what is usual."""
        data = self.cleaned_data
        first = next(iter(self.contents), "")
        return (
            data["content"] or first,
            data["value"] or CHARTED[0],
            data["rules"] or "nelson",
            data["beside"],
            data["margin"] or USUAL_MARGIN,
        )


class FreezeForm(forms.Form):
    """From which shots the baseline is frozen, and why."""

    newest = forms.IntegerField(
        label="From the newest shots", min_value=FEWEST, max_value=SHOWN, initial=FIRST,
        help_text="How many: those poured as it is now.",
    )  # fmt: skip
    reason = forms.CharField(max_length=500, help_text="Such as: new burrs, first 20 shots.")
    content = forms.CharField(max_length=64, widget=forms.HiddenInput)
    value = forms.CharField(max_length=40, widget=forms.HiddenInput)


class KeepForm(forms.Form):
    """Which chart is kept, as it was seen; all of it stands hidden behind one button."""

    content = forms.CharField(max_length=64, widget=forms.HiddenInput)
    value = forms.CharField(max_length=40, widget=forms.HiddenInput)
    rules = forms.CharField(max_length=10, widget=forms.HiddenInput)
    seen = forms.RegexField(r"^[0-9a-f]{64}$", widget=forms.HiddenInput)
