"""A shop lead asks for a permit, and answers what is asked back about it."""

from django.http import HttpResponse
from django.utils import timezone

from audit.errors import Refused
from people.persons.verbs import Verb
from recipes.permits.asking import ask_for_permit, change_permit_request
from recipes.permits.forms import AskPermitForm, ChangeAskForm, asked_before, soon
from recipes.requests.actions import must_be_own
from recipes.requests.asked import initial_ticks
from recipes.requests.evidence import NAMES, About, held_by, recent
from recipes.requests.models import ChangeRequest
from recipes.versions.holding import version_in_force
from recipes.versions.models import Version
from stations.equipment.models import Slot
from web.access import noting_refusal
from web.form_pages import form_page, posted
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest, page

TEMPLATE = "recipes/permits/permit_ask.html"


@page(Verb.REQUEST_MAKE, methods="GET POST")
def permit_ask(request: PageRequest) -> HttpResponse:
    """Ask that the slot one comes from (?slot=), and others that hold the same, may differ."""
    rows = Slot.objects.covered_by(request.user, Verb.REQUEST_MAKE).with_equipment()
    slot: Slot = one_or_404(rows, asked_number(request, "slot", "the number of a slot"))
    site, base = slot.station.machine.site, _held(slot)
    ticks = recent(About(base, site, slot))
    first = {**soon(site, timezone.now()), "slots": [slot.pk], **initial_ticks(request)}
    form = AskPermitForm(posted(request), initial=first, site=site, slots=rows, recent=ticks)
    return form_page(
        request,
        TEMPLATE,
        form,
        lambda: ask_for_permit(by=request.user, base=base, site=site, **form.asked()),
        said="Your {} is with the head roasters.",
        context={"base": base, "site": site, "slot": slot},
    )


@page(Verb.REQUEST_MAKE, methods="GET POST")
def permit_ask_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change one's own request for a permit, or answer a question about it."""
    mine = ChangeRequest.objects.covered_by(request.user).filter(kind="permit").with_base()
    change: ChangeRequest = one_or_404(mine, pk)
    with noting_refusal(request, change.site_id):
        must_be_own(change, request.user)
    texts = {name: getattr(change, name) for name in ("reason", "evidence", "revision")}
    held = held_by(change)
    ticks = {name: list(held.ids(name)) for name in NAMES}
    form = ChangeAskForm(
        posted(request), initial=texts | ticks | asked_before(change), site=change.site,
        slots=Slot.objects.covered_by(request.user, Verb.REQUEST_MAKE),
        recent=recent(About(change.base, change.site)),
    )  # fmt: skip
    return form_page(
        request,
        TEMPLATE,
        form,
        lambda: change_permit_request(
            by=request.user,
            request=change,
            revision=form.cleaned_data["revision"],
            **form.asked(),
        ),
        said="Your {} was changed.",
        context={"base": change.base, "site": change.site, "change": change},
    )


def _held(slot: Slot) -> Version:
    """The version whose settings the slot holds. Raises Refused where nothing is signed."""
    base = version_in_force(slot)
    if base is None:
        raise Refused(
            "This slot holds nothing that was approved, so there is nothing to depart from.",
            how_to_ask="Whoever may set a slot by hand can do so here.",
        )
    return base
