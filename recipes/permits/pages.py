"""Deviation permits: the list, one, granting, and ending one before its time."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.permissions import may_at_each
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.formula.parameters import PARAMETERS
from recipes.permits.actions import Answers, end, grant, must_cover, reach
from recipes.permits.asking import holding
from recipes.permits.forms import PermitForm, SignPermitForm, asked_before, soon
from recipes.permits.models import Permit
from recipes.permits.plan import PermitPlan, make_permit_plan
from recipes.planning.plan import PERMIT
from recipes.publishing.forms import ReasonForm
from recipes.requests.models import ChangeRequest
from stations.equipment.models import Site, Slot
from stations.machine_types.catalogue import printed
from stations.slots.models import Placement, PlacementQuerySet
from web.access import noting_refusal
from web.form_pages import Attempt, form_page, look_again, posted, status_of
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page
from web.paging import keyset


@page(Verb.SLOT_VIEW)
def permits(request: PageRequest) -> HttpResponse:
    """Permits for slots this person may see, the newest first."""
    rows = Permit.objects.covered_by(request.user).with_zone().with_slots_for(request.user)
    rows = rows.select_related("signature", "author")
    page = keyset(rows, "-id", request.GET, size=50)
    return render(request, "recipes/permits/permits.html", {"page": page})


@page(Verb.SLOT_VIEW)
def permit(request: PageRequest, pk: int) -> HttpResponse:
    """One permit: which slots, what changes, why, until when."""
    rows = Permit.objects.covered_by(request.user)
    permit = one_or_404(rows.select_related("signature", "author", "request"), pk)
    slots = Slot.objects.covered_by(request.user).with_equipment()
    changes = [(PARAMETERS[row.code], row.text or row.target) for row in permit.changes.all()]
    shown = list(slots.with_condition().filter(pk__in=permit.slots.values("slot")))
    context = {
        "permit": permit,
        "slots": shown,
        "kept": set(_under(permit).values_list("slot_id", flat=True)),
        "accepted": permit.accepted_for(shown),
        "zone": shown[0].station.machine.site.time_zone if shown else "",
        "changes": changes,
        "may_end": may_at_each(request.user, Verb.PERMIT_END, reach(permit)),
    }
    return render(request, "recipes/permits/permit.html", context)


def _under(permit: Permit) -> PlacementQuerySet:
    """What is in force under it: a slot it named may have been taken over."""
    return Placement.objects.in_force().filter(basis=PERMIT.basis, basis_id=permit.pk)


def _site(request: PageRequest) -> Site:
    """The site the permit is for, by ?slot=, ?request= or ?site=. Raises Http404, Invalid."""
    sites = Site.objects.covered_by(request.user, Verb.PERMIT_GRANT)
    if "slot" in request.GET:
        slot = asked_number(request, "slot", "the number of a slot")
        return one_or_404(sites, machines__stations__slots=slot)
    if "request" in request.GET:
        return one_or_404(sites, pk=_answered(request).site_id)
    if "site" in request.GET:
        return one_or_404(sites, asked_number(request, "site", "the number of a site"))
    raise Http404("A permit begins at its slot: choose “Grant a deviation permit” there.")


@page(Verb.PERMIT_GRANT, methods="GET POST")
def permit_new(request: PageRequest) -> HttpResponse:
    """Choose slots, changes and end, see the plan, sign it: one address for all three."""
    site = _site(request)
    chosen = "date" in request.GET
    first = {**soon(site, timezone.now()), "slots": [request.GET.get("slot", "")]}
    answers = _answered(request) if "request" in request.GET else None
    if answers is not None:
        first |= _from_request(answers)
    slots = Slot.objects.covered_by(request.user, Verb.PERMIT_GRANT)
    form = PermitForm(request.GET if chosen else None, initial=first, site=site, slots=slots)
    if not form.is_bound or not form.is_valid():
        context = {"site": site, "form": form, "answers": answers}
        return render(request, "recipes/permits/permit_new.html", context, status=status_of(form))
    return _plan_and_sign(request, site, form)


def _answered(request: PageRequest) -> ChangeRequest:
    """The request that the permit is to answer, of a site one decides for. Raises Http404."""
    rows = ChangeRequest.objects.covered_by(request.user, Verb.REQUEST_DECIDE).with_base()
    return one_or_404(rows, asked_number(request, "request", "the number of a request"))


def _from_request(answers: ChangeRequest) -> dict[str, object]:
    """What it asks for; one for a change of the recipe could be for every slot that holds it."""
    slots = [slot.pk for slot in holding(answers.base, answers.site)]
    seen = {"request": answers.pk, "revision": answers.revision}
    return {"slots": slots, **asked_before(answers), **seen}


def _plan(request: PageRequest, form: PermitForm) -> PermitPlan:
    data = form.cleaned_data
    slots = [slot.pk for slot in data["slots"]]
    return make_permit_plan(
        slots=slots, changes=data["changes"], ends_at=data["ends_at"], by=request.user
    )


def _plan_and_sign(request: PageRequest, site: Site, chosen: PermitForm) -> HttpResponse:
    plan = _plan(request, chosen)
    form = SignPermitForm(
        posted(request),
        initial={"seen_digest": plan.digest},
        request=request,
        flagged=bool(plan.to_acknowledge),
    )

    def act() -> Permit:
        made = _grant(request, chosen, form)
        note_signed(request)
        return made

    def context(attempt: Attempt) -> dict[str, object]:
        if attempt.ok:
            return _planned(request, site, plan)
        newest = _plan(request, chosen)  # which is what the next signature is for
        look_again(form, {"seen_digest": newest.digest})
        return _planned(request, site, newest)

    template = "recipes/permits/permit_plan.html"
    return form_page(request, template, form, act, said="{} is in force.", context=context)


def _planned(request: PageRequest, site: Site, plan: PermitPlan) -> dict[str, object]:
    lines = [
        (line, printed(line.translation.values) if line.translation else []) for line in plan.lines
    ]
    answers = _answered(request) if request.GET.get("request") else None
    query = request.GET.urlencode()
    return {"site": site, "plan": plan, "query": query, "lines": lines, "answers": answers}


def _grant(request: PageRequest, chosen: PermitForm, form: SignPermitForm) -> Permit:
    data = chosen.cleaned_data
    return grant(
        by=request.user,
        slots=[slot.pk for slot in data["slots"]],
        changes=data["changes"],
        ends_at=data["ends_at"],
        seen=form.cleaned_data["seen_digest"],
        reason=form.cleaned_data["reason"],
        credentials=form.credentials(),
        acknowledged=form.cleaned_data.get("acknowledged", False),
        answers=_answers(data),
    )


def _answers(data: dict[str, Any]) -> Answers | None:
    """The request that was shown with the form, at the revision it had then."""
    if not data.get("request"):
        return None
    request = ChangeRequest.objects.with_base().get(pk=data["request"])
    return Answers(request, data["revision"] or 0)


@page(Verb.PERMIT_END, methods="GET POST")
def permit_end(request: PageRequest, pk: int) -> HttpResponse:
    """End a permit now; its slots fall back to what was approved for them."""
    permit = one_or_404(Permit.objects.covered_by(request.user), pk)
    with noting_refusal(request):
        must_cover(permit, request.user)
    form = ReasonForm(posted(request), initial={"revision": permit.revision})

    def act() -> Permit:
        end(by=request.user, permit=permit, **form.cleaned_data)
        return permit

    return form_page(
        request,
        "recipes/permits/permit_end.html",
        form,
        act,
        said="{} has ended; its slots are back to what was approved.",
        context={"permit": permit},
    )
