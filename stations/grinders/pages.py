"""A site's grinders, one grinder with its log, and what is written into it."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.grinders.actions import add_grinder, change_grinder, set_grinder, work_on_grinder
from stations.grinders.forms import GrinderForm, NewGrinderForm, SettingForm, WorkForm
from stations.grinders.models import Grinder, GrinderEvent
from web.form_pages import form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

FIELDS = ("name", "finer", "step", "marks_per_turn", "micrometres_per_mark", "revision")
PER_LIST = 25


def covered_grinder(request: PageRequest, pk: int) -> Grinder:
    """The grinder, for people whose roles cover its site; 404 for others."""
    rows = Grinder.objects.covered_by(request.user).select_related("site")
    found: Grinder = one_or_404(rows, pk=pk)
    return found


@page()
def grinders(request: PageRequest, pk: int) -> HttpResponse:
    """A site's grinders and what each is set to."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    newest = GrinderEvent.objects.filter(grinder__site=site).newest_of_each().select_related("by")
    events = {event.grinder_id: event for event in newest}
    rows = (
        Grinder.objects.filter(site=site)
        .prefetch_related("serves__station__machine")
        .order_by("name")
    )
    context = {
        "site": site,
        "rows": [(each, events.get(each.pk)) for each in rows],
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, site.pk),
    }
    return render(request, "stations/grinders/grinders.html", context)


@page()
def grinder(request: PageRequest, pk: int) -> HttpResponse:
    """One grinder: what it is set to, whom it serves, and its log."""
    shown = covered_grinder(request, pk)
    site_id = shown.site_id
    context = {
        "grinder": shown,
        "site": shown.site,
        "now_at": shown.events.first(),
        "serves": shown.serves.select_related("station__machine").order_by("station"),
        "log": keyset(shown.events.select_related("by"), "-pk", request.GET, size=PER_LIST),
        "may_set": may(request.user, Verb.GRINDER_SET, site_id),
        "may_work": may(request.user, Verb.CALIBRATION_RECORD, site_id),
        "may_edit": may(request.user, Verb.EQUIPMENT_EDIT, site_id),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW, site_id),
    }
    return render(request, "stations/grinders/grinder.html", context)


@page(methods="GET POST")
def grinder_add(request: PageRequest) -> HttpResponse:
    """Enter a grinder at the site that ?site= names."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=asked_number(request, "site"))
    require_for_page(request, Verb.EQUIPMENT_EDIT, site.pk)
    form = NewGrinderForm(posted(request), site=site, initial={"step": 1})
    return form_page(
        request,
        "stations/grinders/grinder_form.html",
        form,
        lambda: add_grinder(by=request.user, site=site, **form.cleaned_data),
        said="{} was added.",
        context={"site": site},
    )


@page(methods="GET POST")
def grinder_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change what is known of a grinder."""
    shown = covered_grinder(request, pk)
    require_for_page(request, Verb.EQUIPMENT_EDIT, shown.site_id)
    initial = {name: getattr(shown, name) for name in FIELDS}
    initial["stations"] = list(shown.serves.values_list("station_id", flat=True))
    form = GrinderForm(posted(request), site=shown.site, initial=initial)
    return form_page(
        request,
        "stations/grinders/grinder_form.html",
        form,
        lambda: change_grinder(by=request.user, grinder=shown, **form.cleaned_data),
        said="{} was changed.",
        context={"site": shown.site, "grinder": shown},
    )


@page(methods="GET POST")
def grinder_set(request: PageRequest, pk: int) -> HttpResponse:
    """Write down the mark it is set to now."""
    shown = covered_grinder(request, pk)
    require_for_page(request, Verb.GRINDER_SET, shown.site_id)
    newest = shown.events.first()
    form = SettingForm(posted(request), initial=_stands_at(newest))
    return form_page(
        request,
        "stations/grinders/grinder_set.html",
        form,
        lambda: set_grinder(by=request.user, grinder=shown, **form.cleaned_data),
        said="Noted: {}.",
        context={"grinder": shown, "site": shown.site, "now_at": newest},
    )


@page(methods="GET POST")
def grinder_work(request: PageRequest, pk: int) -> HttpResponse:
    """Write down that burrs, or the whole grinder, were changed."""
    shown = covered_grinder(request, pk)
    require_for_page(request, Verb.CALIBRATION_RECORD, shown.site_id)
    newest = shown.events.first()
    form = WorkForm(posted(request), initial=_stands_at(newest))
    return form_page(
        request,
        "stations/grinders/grinder_work.html",
        form,
        lambda: work_on_grinder(by=request.user, grinder=shown, **form.cleaned_data),
        said="Noted: {}.",
        context={"grinder": shown, "site": shown.site, "now_at": newest},
    )


def _stands_at(newest: GrinderEvent | None) -> dict[str, object]:
    return {"seen_event": newest.pk, "setting": newest.setting} if newest else {}
