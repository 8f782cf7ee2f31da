"""Change requests: asked, looked at, changed and taken back."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst

from audit.errors import Refused, Stale
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.formula.display import rows
from recipes.formula.forms import formula_initial
from recipes.formula.formula import Formula
from recipes.formula.sides import SidesForm
from recipes.modelling.pages import initial_from_prediction
from recipes.requests.actions import (
    add_evidence,
    change_request,
    make_request,
    must_be_own,
    take_back,
)
from recipes.requests.answered import see_answer, unseen_answers
from recipes.requests.asked import about, asked_thing, initial_ticks
from recipes.requests.decisions import accept, ask_back, decline
from recipes.requests.evidence import NAMES, NOTHING, About, held_by, recent, shown_evidence
from recipes.requests.forms import (
    ChangeRequestForm,
    DecisionForm,
    EvidenceForm,
    NewRequestForm,
)
from recipes.requests.from_shot import initial_from_shot
from recipes.requests.models import ChangeRequest
from recipes.requests.rebasing import SidesSeen, rebase, three_sides
from recipes.versions.holding import approved_for, variants_held
from recipes.versions.models import Version
from recipes.versions.pages import shown_version
from stations.equipment.models import Site, Slot
from stations.machine_types.models import MachineType
from web.access import noting_refusal
from web.fields import RevisionForm
from web.form_pages import Thing, cleaned, form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page, require_for_page

MINE = 30  # one's own open requests, to choose from
SETTLED = 50  # the newest, below those that wait


@page(Verb.RECIPE_VIEW)
def requests(request: PageRequest) -> HttpResponse:
    """Those that wait, the oldest first; then the newest that are settled."""
    seen = ChangeRequest.objects.covered_by(request.user).with_base()
    context = {
        "unsettled": seen.unsettled(),
        "settled": seen.settled()[:SETTLED],
        "may_ask": may(request.user, Verb.REQUEST_MAKE),
    }
    return render(request, "recipes/requests/requests.html", context)


def seen_request(request: PageRequest, pk: int) -> ChangeRequest:
    """The request, if it is of a site this person may see; else 404."""
    rows = ChangeRequest.objects.covered_by(request.user).with_base()
    rows = rows.prefetch_related("proposals", "base__formula", "base__variant_values")
    change: ChangeRequest = one_or_404(rows, pk)
    return change


def approved_of(change: ChangeRequest) -> Version | None:
    """The approved version of the request's recipe, if there is one."""
    rows = Version.objects.approved().with_recipe().with_formula()
    current: Version | None = rows.filter(recipe=change.base.recipe_id).first()
    return current


def request_context(request: PageRequest, change: ChangeRequest) -> dict[str, object]:
    """A request with its sides: two, or three once a newer version was approved."""
    current = approved_of(change)
    unsettled = change.state in {"open", "asked_back"}
    stale = bool(unsettled and current and current.pk != change.base_id)
    stale = stale and not change.asks_for_permit  # that is about what slots hold
    held = held_variant(change) if change.asks_for_permit else None
    before, after = sides_of(change, held)
    own = change.author_id == request.user.pk
    return {
        "change": change,
        "recipe": change.base.recipe,
        "current": current,
        "stale": stale,
        "unsettled": unsettled,
        "sides": three_sides(change, current) if stale and current else [],
        "rows": rows(before, after),
        "held": MachineType.objects.filter(pk=held).first() if held else None,
        "slots": change.slots.select_related("slot__station__machine__site"),
        "permit": change.permit if change.state == ChangeRequest.State.PERMITTED else None,
        "may_taste": may(request.user, Verb.TASTING_RUN, change.site_id),
        "drafts": change.resulting_versions.with_recipe(),
        "may_permit": may(request.user, Verb.PERMIT_GRANT, change.site_id),
        "may_decide": may(request.user, Verb.REQUEST_DECIDE, change.site_id),
        "attached": shown_evidence(change),
        "is_author": own,
        "unseen": own and unseen_answers(request.user).filter(pk=change.pk).exists(),
        "may_read_history": may(request.user, Verb.RECIPE_HISTORY, change.site_id),
    }


def held_variant(change: ChangeRequest) -> int | None:
    """The machine type (id) whose variant all slots that it names hold; None: not one for all."""
    variants = variants_held(change.base, change.slots.values_list("slot_id", flat=True))
    return variants.pop() if len(variants) == 1 else None


def sides_of(change: ChangeRequest, variant: int | None = None) -> tuple[Formula, Formula]:
    """What the version says of the parameters asked about, and what is asked for.

    It says so whole, or to a machine type (id). A permit gives values and leaves every tolerance
    open.
    """
    base, proposed = change.base.stated_for(variant), change.proposed
    before = Formula({code: base[code] for code in base if code in proposed})
    if change.asks_for_permit:
        before = before.deviating({})
    return before, proposed


@page(Verb.RECIPE_VIEW)
def request_page(request: PageRequest, pk: int) -> HttpResponse:
    """One request and what can be done about it."""
    change = seen_request(request, pk)
    form = DecisionForm(initial={"revision": change.revision}, change=change)
    context = request_context(request, change) | {"form": form}
    return render(request, "recipes/requests/request.html", context)


@page(Verb.REQUEST_MAKE, methods="GET POST", kept=True)
def request_new(request: PageRequest) -> HttpResponse:
    """Ask for other values than the approved version's (?version=, or what a ?slot= holds)."""
    slot = _asked_slot(request)
    base = shown_version(_held_version(slot) if slot else _asked_number(request, "version"))
    sites = Site.objects.covered_by(request.user, Verb.REQUEST_MAKE)
    asks = about(request, base, slot)
    at = {"site": asks.site.pk} if asks else {}
    says = base.stated
    initial = at | formula_initial(says) | initial_from_prediction(request, base)
    initial |= initial_from_shot(request, slot) | initial_ticks(request) | {"seen_base": base.pk}
    ticks = recent(asks) if asks else NOTHING
    form = NewRequestForm(posted(request), initial=initial, base=says, sites=sites, recent=ticks)

    def act() -> ChangeRequest:
        seen = form.cleaned_data["seen_base"]
        if seen is not None and seen != base.pk:
            raise Stale(f"By now {base} is approved: these values were for another.", base.pk)
        return make_request(
            by=request.user,
            base=base,
            site=form.cleaned_data["site"],
            proposals=form.values(),
            reason=form.cleaned_data["reason"],
            evidence=form.cleaned_data["evidence"],
            attached=form.attached(),
        )

    return form_page(
        request,
        "recipes/requests/request_form.html",
        form,
        act,
        said="Your {} is with the head roasters.",
        context={"base": base, "recipe": base.recipe, "beside": says},
    )


@page(Verb.REQUEST_MAKE, methods="GET POST")
def request_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change one's own request, or answer a question about it."""
    change = seen_request(request, pk)
    with noting_refusal(request, change.site_id):
        must_be_own(change, request.user)
    says = change.base.stated
    wanted = says | change.proposed
    texts = {name: getattr(change, name) for name in ("reason", "evidence", "revision")}
    held = held_by(change)
    ticks = {name: list(held.ids(name)) for name in NAMES}
    form = ChangeRequestForm(
        posted(request), initial=texts | ticks | formula_initial(wanted), base=says,
        recent=recent(About(change.base, change.site)),
    )  # fmt: skip

    def act() -> ChangeRequest:
        return change_request(
            by=request.user,
            request=change,
            revision=form.cleaned_data["revision"],
            proposals=form.values(),
            reason=form.cleaned_data["reason"],
            evidence=form.cleaned_data["evidence"],
            attached=form.attached(),
        )

    return form_page(
        request,
        "recipes/requests/request_form.html",
        form,
        act,
        said="Your {} was changed.",
        context={
            "base": change.base,
            "recipe": change.base.recipe,
            "change": change,
            "beside": says,
        },
    )


@page(Verb.REQUEST_MAKE, methods="GET POST")
def request_evidence(request: PageRequest) -> HttpResponse:
    """Use what one comes from (?shot=, ?read_back=, ?chart=, ?tasting=) in a request.

    In one's own open one, or in a new one: at once where there is no other.
    """
    thing = asked_thing(request)
    require_for_page(request, Verb.REQUEST_MAKE, thing.site.pk)
    mine = ChangeRequest.objects.filter(author=request.user, site=thing.site)
    form = EvidenceForm(posted(request), mine=list(mine.unsettled().with_base()[:MINE]))
    if request.method == "GET" and not form.mine and thing.new_request:
        return redirect(thing.new_request)

    def act() -> ChangeRequest:
        key = form.cleaned_data["to"]
        seen, named = int(key.partition("-")[2]), thing.attached
        return add_evidence(by=request.user, request=form.mine[key], revision=seen, attached=named)

    return form_page(
        request,
        "recipes/requests/request_evidence.html",
        form,
        act,
        said="It is evidence of your {} now.",
        context={"thing": thing},
    )


@page(Verb.REQUEST_MAKE, methods="POST")
def request_take_back(request: PageRequest, pk: int) -> HttpResponse:
    """Take one's own request back."""
    change = seen_request(request, pk)
    with noting_refusal(request, change.site_id):
        must_be_own(change, request.user)
    revision = cleaned(RevisionForm(request.POST))["revision"]
    taken = take_back(by=request.user, request=change, revision=revision)
    messages.success(request, f"Your {taken} was taken back.")
    return redirect(taken)


@page(Verb.REQUEST_MAKE, methods="POST")
def request_seen(request: PageRequest, pk: int) -> HttpResponse:
    """Say that one has seen the answer to one's own request."""
    change = seen_request(request, pk)
    with noting_refusal(request, change.site_id):
        must_be_own(change, request.user)
    revision = cleaned(RevisionForm(request.POST))["revision"]
    see_answer(by=request.user, request=change, revision=revision)
    return redirect("home")


def _asked_number(request: PageRequest, name: str) -> int:
    what = "an approved version" if name == "version" else "a slot"
    return asked_number(request, name, f"the number of {what}")


def _asked_slot(request: PageRequest) -> Slot | None:
    """The slot one comes from, if it is at a site where this person may ask; else 404."""
    if "slot" not in request.GET:
        return None
    rows = Slot.objects.covered_by(request.user, Verb.REQUEST_MAKE).with_equipment()
    slot: Slot = one_or_404(rows, _asked_number(request, "slot"))
    return slot


def _held_version(slot: Slot) -> int:
    base = approved_for(slot)
    if base is None:
        raise Refused(
            "This slot holds nothing that was approved, so there is nothing to ask a change of.",
            how_to_ask="Open the recipe you want changed, and ask from there.",
        )
    return base.pk


@page(Verb.REQUEST_DECIDE, methods="POST")
def request_decide(request: PageRequest, pk: int) -> HttpResponse:
    """Accept, decline or ask back."""
    change = seen_request(request, pk)
    require_for_page(request, Verb.REQUEST_DECIDE, change.site_id)
    form = DecisionForm(request.POST, initial={"revision": change.revision}, change=change)

    def act() -> Thing:
        made = _decision(request, change, form)()
        messages.success(request, capfirst(f"{change} was answered."))
        return made

    return form_page(
        request,
        "recipes/requests/request.html",
        form,
        act,
        said="",
        context=lambda _: request_context(request, seen_request(request, pk)),
    )


def _decision(
    request: PageRequest, change: ChangeRequest, form: DecisionForm
) -> Callable[[], Thing]:
    user, words = request.user, form.cleaned_data["reason"]
    seen = form.cleaned_data["revision"]
    ways: dict[str, Callable[[], Thing]] = {
        "accept": lambda: accept(by=user, request=change, note=words, revision=seen),
        "decline": lambda: decline(by=user, request=change, reason=words, revision=seen),
        "ask_back": lambda: ask_back(by=user, request=change, reason=words, revision=seen),
    }
    return ways[form.cleaned_data["decision"]]


@page(Verb.REQUEST_MAKE, methods="GET POST")
def request_rebase(request: PageRequest, pk: int) -> HttpResponse:
    """Three sides, parameter by parameter: which of two changes holds."""
    change = seen_request(request, pk)
    current = approved_of(change)
    lines = three_sides(change, current) if current else []
    seen = {"revision": change.revision, "current": current.pk if current else ""}
    form = SidesForm(posted(request), initial=seen, lines=lines)
    return form_page(
        request,
        "recipes/requests/request_rebase.html",
        form,
        lambda: rebase(
            by=request.user,
            request=change,
            seen=SidesSeen(form.cleaned_data["revision"], form.cleaned_data["current"]),
            choices=form.choices(),
        ),
        said="The {} is updated to the current version.",
        context=request_context(request, change) | {"sides": lines},
    )
