"""Reading a slot back, and the list of what to key in."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.timezone import now

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, require_for_page
from stations.actions import read_back
from stations.forms.values import ReadBackForm
from stations.holdings import Holding, holdings
from stations.models import ReadBack, Site, Slot
from stations.verdicts import lines_of
from stations.views.answering import asked_id, form_page, page, sent
from stations.views.slots import covered_holding


class Read:
    """A saved read-back, leading to the page of its verdicts."""

    def __init__(self, saved: ReadBack) -> None:
        self.saved = saved

    def get_absolute_url(self) -> str:
        """The read-back page, showing this one."""
        return f"{reverse('stations:read_back', args=[self.saved.slot_id])}?read={self.saved.pk}"


@page("GET", "POST")
def read_slot_back(request: PageRequest, pk: int) -> HttpResponse:
    """Type what a slot shows; afterwards, the verdict for every parameter."""
    holding = covered_holding(request, pk)
    site = holding.slot.station.machine.site
    require_for_page(request, Verb.SLOT_READ_BACK, site.pk)
    context: dict[str, object] = {"holding": holding, "slot": holding.slot, "site": site}
    if "read" in request.GET and request.method != "POST":
        rows = ReadBack.objects.select_related("placement__settings", "by")
        read = get_object_or_404(rows, slot=pk, pk=asked_id(request, "read"))
        lines = lines_of(read.placement.settings.values, read)
        asks = may(request.user, Verb.REQUEST_MAKE, site.pk)
        context |= {"read": read, "lines": lines, "may_ask": asks}
        return render(request, "stations/read_back_verdict.html", context)
    form = ReadBackForm(
        holding.placement.settings.values if holding.placement else {},
        sent(request),
        initial={"seen_placement": holding.placement.pk if holding.placement else None},
    )
    return form_page(
        request,
        "stations/read_back.html",
        form,
        lambda: _save(request, holding, form),
        said="",
        context=context,
    )


def _save(request: PageRequest, holding: Holding, form: ReadBackForm) -> Read:
    return Read(
        read_back(
            slot=holding.slot,
            found=form.found(),
            by=request.user,
            seen_placement=form.cleaned_data["seen_placement"],
        )
    )


@page()
def to_key(request: PageRequest, pk: int) -> HttpResponse:
    """What to key in at each station of a site, slot by slot; with ?all=1 what matches too."""
    site = get_object_or_404(Site.objects.covered_by(request.user, Verb.SLOT_VIEW), pk=pk)
    everything = request.GET.get("all") == "1"
    held = holdings(Slot.objects.filter(station__machine__site=site).waiting(everything))
    context = {
        "site": site,
        "holdings": held,
        "everything": everything,
        "now": now(),
        "may_read_back": may(request.user, Verb.SLOT_READ_BACK, site.pk),
    }
    return render(request, "stations/to_key.html", context)
