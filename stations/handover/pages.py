"""The notes of a site: left, read, and by whom."""

from collections.abc import Iterable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.handover.actions import leave_note, read_until
from stations.handover.forms import NoteForm, ReadForm
from stations.handover.models import HandoverNote, HandoverRead
from web.form_pages import cleaned, form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

PER_PAGE = 30


def _site(request: PageRequest, pk: int) -> Site:
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.HANDOVER_WRITE, site.pk)
    return site


@page(methods="GET POST")
def handover(request: PageRequest, pk: int) -> HttpResponse:
    """Every note of a site, the newest first, and a new one (?edits= takes another's place)."""
    site = _site(request, pk)
    rows = HandoverNote.objects.filter(site=site).select_related("by", "edited_by")
    edits = None
    if "edits" in request.GET:
        edits = one_or_404(rows.filter(by=request.user, edited_by=None), pk=_asked(request))
    initial = {"edits": edits.pk, "text": edits.text} if edits else {}
    form = NoteForm(posted(request), initial=initial)
    shown = keyset(rows, "-id", request.GET, size=PER_PAGE)
    _tell_readers(site, shown.rows)
    return form_page(
        request,
        "stations/handover/handover.html",
        form,
        lambda: leave_note(by=request.user, site=site, **form.cleaned_data),
        said="Your {} is left to the next shift.",
        context={"site": site, "page": shown, "edits": edits},
    )


def _asked(request: PageRequest) -> int:
    return asked_number(request, "edits", "the number of a note of yours")


def _tell_readers(site: Site, notes: Iterable[HandoverNote]) -> None:
    """Give each note ``readers``: who has read until it or beyond."""
    rows = (
        HandoverRead.objects.filter(site=site).select_related("by").order_by("by_id", "-until_id")
    )
    furthest = list(rows.distinct("by_id"))
    for note in notes:
        names = [read.by.name for read in furthest if read.until_id >= note.pk]
        vars(note)["readers"] = ", ".join(sorted(names))


@page(methods="POST")
def handover_read(request: PageRequest, pk: int) -> HttpResponse:
    """Read back until here."""
    site = _site(request, pk)
    until = cleaned(ReadForm(request.POST))["until"]
    read_until(by=request.user, site=site, until=until)
    messages.success(request, f"Notes of {site} are read back until here.")
    if request.GET.get("to") == "home":
        return redirect("home")
    return redirect("stations:today", site.pk)
