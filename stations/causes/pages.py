"""What was found at a site's stations, and answering it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.causes.actions import acknowledge, settle
from stations.causes.following import TO_CLEAR, Following
from stations.causes.forms import AcknowledgeForm, SettleForm
from stations.causes.models import CauseFinding, CauseRun
from stations.causes.showing import shown, size
from stations.causes.wording import WORDS
from stations.equipment.models import Site
from stations.metrology.causes import RUN_LENGTH, TESTS
from web.form_pages import cleaned, form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

PER_PAGE = 30


@page(Verb.SLOT_VIEW)
def findings(request: PageRequest, pk: int) -> HttpResponse:
    """List what was found at a site, what lasts first, and how each cause is looked for."""
    site = one_or_404(Site.objects.covered_by(request.user), pk)
    rows = CauseFinding.objects.filter(site=site).with_place()
    over = keyset(rows.filter(state="cleared"), "-id", request.GET, size=PER_PAGE)
    lasting = list(rows.lasting().order_by("-id"))
    for each in (*lasting, *over.rows):
        vars(each)["told"] = WORDS[each.cause].risen if each.upward else WORDS[each.cause].fallen
        vars(each)["by"] = size(each)
    runs = CauseRun.objects.filter(station__machine__site=site, scored__gt=0)
    context = {
        "site": site,
        "lasting": lasting,
        "page": over,
        "causes": [(WORDS[test.cause], test.cause.value, test) for test in TESTS.values()],
        "looked_at": runs.count(),
        "run_length": RUN_LENGTH,
    }
    return render(request, "stations/causes/findings.html", context)


@page(Verb.SLOT_VIEW, methods="GET POST")
def finding(request: PageRequest, pk: int) -> HttpResponse:
    """One finding with its chart, what to do, and acknowledging it."""
    one = one_or_404(CauseFinding.objects.covered_by(request.user).with_place(), pk)
    site = one.station.machine.site
    if request.method == "POST":
        require_for_page(request, Verb.FINDING_ANSWER, site.pk)
    form = AcknowledgeForm(posted(request), initial={"revision": one.revision})
    run = CauseRun.objects.filter(station=one.station_id, cause=one.cause).first()
    since = len(Following.of(run.kept).after) if run and one.state == "acknowledged" else 0
    context = {
        "finding": one,
        "site": site,
        "shown": shown(one),
        "settle": SettleForm(initial={"revision": one.revision}),
        "since": since,
        "to_clear": TO_CLEAR,
        "may_answer": may(request.user, Verb.FINDING_ANSWER, site.pk),
    }
    return form_page(
        request,
        "stations/causes/finding.html",
        form,
        lambda: acknowledge(
            by=request.user, finding=one, seen_revision=form.cleaned_data["revision"],
            given=form.cleaned_data["given"], note=form.cleaned_data["note"],
        ),
        said="{} is acknowledged.",
        context=context,
    )  # fmt: skip


@page(methods="POST")
def finding_settle(request: PageRequest, pk: int) -> HttpResponse:
    """Say that the new level is right."""
    one = one_or_404(CauseFinding.objects.covered_by(request.user).with_place(), pk)
    require_for_page(request, Verb.FINDING_ANSWER, one.site_id)
    told = cleaned(SettleForm(request.POST))
    settle(by=request.user, finding=one, seen_revision=told["revision"], note=told["note"])
    messages.success(request, "Cleared: what follows is held against shots from now on.")
    return redirect(one)
