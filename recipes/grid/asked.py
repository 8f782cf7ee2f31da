"""What somebody wants to see of the grid: which slots, as of when, and what changed since when."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils import timezone

from audit.errors import Invalid
from recipes.coffees.models import Coffee, Recipe
from stations.equipment.forms import SiteFilter
from stations.equipment.models import Site
from stations.slots.then import IN_CONDITION, Moment
from web.icons import mark_for

EMPTY = "empty"
STATES = (*IN_CONDITION, EMPTY)
PASSED = "a moment that has passed"


@dataclass(frozen=True)
class Asked:
    """Which slots, and the two moments; ``at`` None is now, ``since`` None compares nothing."""

    site: str = ""
    coffee: Coffee | None = None
    recipe: Recipe | None = None
    state: str = ""
    at: Moment | None = None
    since: Moment | None = None

    @property
    def narrowed(self) -> bool:
        """Whether some slots of a site may be left out."""
        return bool(self.coffee or self.recipe or self.state or self.since)


class GridFilter(SiteFilter):
    """The grid's filter, in its address; days and times are by each site's own clock."""

    coffee = forms.ModelChoiceField(Coffee.objects.all(), required=False, empty_label="Any")
    recipe = forms.ModelChoiceField(
        Recipe.objects.select_related("coffee"), required=False, empty_label="Any"
    )
    state = forms.ChoiceField(
        required=False, choices=[("", "Any"), *((code, mark_for(code).word) for code in STATES)]
    )
    as_of = forms.DateField(
        label="As of (day)", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    as_of_time = forms.TimeField(
        label="As of (time)", required=False, widget=forms.TimeInput(attrs={"type": "time"}),
        help_text="By each site's clock. Empty: midnight.",
    )  # fmt: skip
    since = forms.DateField(
        label="Changed since (day)", required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Compares what slots should hold, not how they were read back.",
    )  # fmt: skip
    since_time = forms.TimeField(
        label="Changed since (time)", required=False,
        widget=forms.TimeInput(attrs={"type": "time"}),
    )  # fmt: skip

    def asked(self) -> Asked:
        """What was asked. Raises Invalid for a moment still to come, or two in the wrong order."""
        data = self.cleaned_data
        at = moment_of("as_of", data["as_of"], data["as_of_time"])
        since = moment_of("since", data["since"], data["since_time"])
        return checked(Asked(data["q"], data["coffee"], data["recipe"], data["state"], at, since))

    def clean(self) -> dict[str, Any]:
        """A time needs its day."""
        data = super().clean() or {}
        for name in ("as_of", "since"):
            if data.get(f"{name}_time") and not data.get(name) and name not in self.errors:
                self.add_error(name, "A time needs its day. Allowed: a day beside it, or neither.")
        return data


def moment_of(field: str, day: date | None, at: time | None) -> Moment | None:
    """That wall-clock time at every site; None without a day. Raises Invalid if it is to come.

    Where it has come in the east alone, it is now at the sites west of there.
    """
    if day is None:
        return None
    wall, now = datetime.combine(day, at or time()), timezone.now()
    if not 2 <= day.year <= 9998:
        raise Invalid(field, str(day), PASSED)
    zones: Iterable[str] = Site.objects.order_by().values_list("time_zone", flat=True).distinct()
    by_zone = {zone: wall.replace(tzinfo=ZoneInfo(zone)) for zone in zones}
    instant = min(by_zone.values(), default=wall.replace(tzinfo=ZoneInfo("UTC")))
    if instant > now:
        raise Invalid(field, str(wall), PASSED)
    return Moment(instant, {zone: min(each, now) for zone, each in by_zone.items()})


def checked(asked: Asked) -> Asked:
    """The same. Raises Invalid where it asks what changed since a moment after the other."""
    if asked.since and asked.at and asked.since.instant >= asked.at.instant:
        raise Invalid("since", str(asked.since.instant), "a moment before the one it is as of")
    return asked
