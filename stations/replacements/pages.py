"""Noting that a part was replaced, at a station, a machine or a site."""

from datetime import datetime
from typing import Any

from django import forms
from django.http import HttpResponse
from django.utils.timezone import now

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.equipment.pages import covered_machine, covered_station
from stations.equipment.replaced import ENDS, Part, Replacement
from stations.replacements.actions import REASON, SERIAL, Place, replace_part
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page


class ReplacementForm(forms.Form):
    """What was replaced, when by the site's clock, and why."""

    seen = forms.IntegerField(
        required=False, min_value=1, max_value=2**62, widget=forms.HiddenInput
    )
    part = forms.ChoiceField(label="Part")
    day = forms.DateField(label="Replaced on", widget=forms.DateInput(attrs={"type": "date"}))
    time = forms.TimeField(
        label="At", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="By the site's clock.",
    )  # fmt: skip
    old_serial = forms.CharField(label="Old serial number", required=False, max_length=SERIAL)
    new_serial = forms.CharField(label="New serial number", required=False, max_length=SERIAL)
    reason = forms.CharField(max_length=REASON, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, place: Place, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.site = place.site
        choices = [(part.value, part.label.capitalize()) for part in place.parts]
        self.fields["part"] = forms.ChoiceField(label="Part", choices=choices)

    def clean(self) -> dict[str, Any]:
        """Refuse a moment to come, at its day."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if {"day", "time"} <= cleaned.keys() and self.moment() > now():
            self.add_error("day", "Allowed: a moment that has been.")
        return cleaned

    def moment(self) -> datetime:
        """When it was replaced."""
        typed = datetime.combine(self.cleaned_data["day"], self.cleaned_data["time"])
        return typed.replace(tzinfo=self.site.zone)


def _page(request: PageRequest, place: Place) -> HttpResponse:
    require_for_page(request, Verb.CALIBRATION_RECORD, place.site.pk)
    newest, here = place.newest(), place.site.local(now())
    first = {
        "seen": newest.pk if newest else None,
        "day": here.date(),
        "time": here.time().replace(second=0, microsecond=0),
        "old_serial": newest.new_serial if newest else "",
    }
    form = ReplacementForm(place, posted(request), initial=first)

    def act() -> Replacement:
        given = ("seen", "part", "old_serial", "new_serial", "reason")
        return replace_part(
            by=request.user,
            place=place,
            at=form.moment(),
            **{name: form.cleaned_data[name] for name in given},
        )

    return form_page(
        request,
        "stations/replacements/replace.html",
        form,
        act,
        said="Noted: {}.",
        context={
            "site": place.site,
            "place": place.station or place.machine or place.site,
            "ends": [(Part(part).label, ENDS[part]) for part in place.parts],
            "newest": newest,
        },
    )


@page(methods="GET POST")
def replace_at_station(request: PageRequest, pk: int) -> HttpResponse:
    """A flow meter or a probe."""
    station = covered_station(request, pk=pk)
    return _page(request, Place(station.machine.site, station=station))


@page(methods="GET POST")
def replace_at_machine(request: PageRequest, pk: int) -> HttpResponse:
    """A pump."""
    machine = covered_machine(request, pk)
    return _page(request, Place(machine.site, machine=machine))


@page(methods="GET POST")
def replace_at_site(request: PageRequest, pk: int) -> HttpResponse:
    """A water filter."""
    site: Site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    return _page(request, Place(site))
