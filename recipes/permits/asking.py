"""Asking for a permit: which slots of one's site, which values, why, and until when."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.formula.formula import Formula, write_rows
from recipes.formula.parameters import PARAMETERS, SetBy
from recipes.permits.plan import check_end
from recipes.planning.plan import PERMIT
from recipes.requests import history
from recipes.requests.actions import (
    lock_request,
    must_be_own,
    must_be_undecided,
    subject_of,
    texts_of,
)
from recipes.requests.evidence import Attached, attach
from recipes.requests.models import ChangeRequest, RequestKind, RequestSlot, RequestState
from recipes.versions.holding import variants_held
from recipes.versions.models import Version
from stations.equipment.models import Site, Slot
from stations.metrology.formula import Stated
from stations.slots.models import Placement

Changes = Mapping[str, Decimal | str]


def ask_for_permit(
    *, by: User, base: Version, site: Site, slots: Sequence[int], changes: Changes,
    ends_at: datetime, reason: str, evidence: str = "", attached: Attached | None = None,
) -> ChangeRequest:  # fmt: skip
    """Ask that slots (ids) of one's site may differ for a time from what was approved.

    ``base`` is the version that they hold, as it was seen. Raises NotPermitted; Invalid (slots,
    changes, ends_at, reason, evidence); Refused where a slot holds something else by now.
    """
    subject = Subject("recipe", base.recipe_id, str(base))
    with recorded(by=by, action=history.PERMIT_ASKED, subject=subject, site_id=site.pk):
        require(by, Verb.REQUEST_MAKE, site.pk, subject)
        texts = texts_of(reason, evidence)
        check_end(ends_at)
        chosen = _slots(site, slots, base)
        wanted = _wanted(base, chosen, changes)
        request = ChangeRequest.objects.create(
            base=base, site=site, author=by, kind=RequestKind.PERMIT, ends_at=ends_at, **texts
        )
        write_rows(request.proposals, Formula(), wanted)
        RequestSlot.objects.bulk_create(RequestSlot(request=request, slot=slot) for slot in chosen)
        attach(request, attached)
        request.refresh_from_db(fields=["made_at"])
        return request


def change_permit_request(
    *, by: User, request: ChangeRequest, revision: int, slots: Sequence[int], changes: Changes,
    ends_at: datetime, reason: str, evidence: str = "", attached: Attached | None = None,
) -> ChangeRequest:  # fmt: skip
    """Change one's own request for a permit while it is undecided; asked back, it opens again.

    Raises NotPermitted for another's, Refused once decided or for a request of another kind, Stale,
    Invalid.
    """
    subject, site = subject_of(request), request.site
    with recorded(by=by, action=history.REQUEST_CHANGED, subject=subject, site_id=site.pk):
        now = lock_request(request)
        must_be_own(now, by)
        must_be_undecided(now)
        if not now.asks_for_permit:
            raise Refused(f"Request {now.pk} asks for a change of the recipe, not for a permit.")
        texts = texts_of(reason, evidence)
        check_end(ends_at)
        chosen = _slots(site, slots, now.base)
        wanted = _wanted(now.base, chosen, changes)
        compare_and_set(now, revision, state=RequestState.OPEN, ends_at=ends_at, **texts)
        write_rows(now.proposals, now.proposed, wanted)
        now.slots.exclude(slot__in=chosen).delete()
        held = set(now.slots.values_list("slot_id", flat=True))
        RequestSlot.objects.bulk_create(
            RequestSlot(request=now, slot=slot) for slot in chosen if slot.pk not in held
        )
        attach(now, attached)
        return now


def holding(base: Version, site: Site) -> list[Slot]:
    """The slots of a site that hold this version and are on no permit, in reading order."""
    placed = Placement.objects.in_force().filter(
        site=site.pk, settings__content_digest=base.content_digest
    )
    placed = placed.exclude(basis=PERMIT.basis)
    return list(Slot.objects.with_equipment().filter(pk__in=placed.values("slot")))


def _slots(site: Site, slots: Sequence[int], base: Version) -> list[Slot]:
    """The slots, which have to be of the site and to hold the version that was seen."""
    here = Slot.objects.filter(station__machine__site=site, pk__in=slots)
    if not slots or here.count() != len(set(slots)):
        raise Invalid("slots", list(slots), f"one or more slots of {site}")
    able = {slot.pk: slot for slot in holding(base, site)}
    for pk in slots:
        if pk not in able:
            raise Refused(
                f"{Slot.objects.with_equipment().get(pk=pk)} holds something else than {base}"
                " by now, or is on permit already.",
                how_to_ask="Look at the slot again, and ask for what it holds.",
            )
    return [able[pk] for pk in sorted(set(slots))]


def _wanted(base: Version, slots: Iterable[Slot], changes: Changes) -> Formula:
    """The values, checked; those that a machine sets, and other than what one of the slots holds.

    A slot holds the whole formula of the version, or its variant.
    """
    for code in changes:
        if code in PARAMETERS and PARAMETERS[code].set_by is not SetBy.MACHINE:
            raise Invalid("changes", code, "a parameter that a machine sets")
    given = {
        code: Stated(text=value) if isinstance(value, str) else Stated(value)
        for code, value in changes.items()
    }
    wanted = Formula.read(given)
    held = variants_held(base, [slot.pk for slot in slots])
    differing: set[str] = set()
    for variant in held:
        says = base.stated_for(variant).deviating({})  # a permit leaves every tolerance open
        differing |= wanted.differing(says) & wanted.keys()
    if not differing:
        raise Invalid("changes", "", "at least one value other than what the slots hold")
    return Formula({code: wanted[code] for code in wanted if code in differing})
