"""Finding out what a slot really holds."""

from collections.abc import Mapping

from audit.context import Road, ambient, recorded
from audit.errors import Invalid, Refused, Stale
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from stations import history
from stations.models import Placement, ReadBack, Slot
from stations.verdicts import compare, overall, read_found


def read_back(*, slot: Slot, found: Mapping[str, str], by: User, seen_placement: int) -> ReadBack:
    """Write down what a slot was found to hold, and give the verdict per parameter.

    ``found`` maps codes to what the machine shows, in its own unit; what is left out or empty
    counts as missing. ``seen_placement`` is the id of the placement whose settings were shown.
    Raises Invalid, Stale (it is no longer in force), Refused (nothing is) and NotPermitted.
    """
    site_id = slot.station.machine.site_id
    subject = Subject("slot", slot.pk, str(slot))
    with recorded(by=by, action=history.SLOT_READ_BACK, subject=subject, site_id=site_id):
        require(by, reading_verb(), site_id, subject)
        placement = _lock(slot, seen_placement, subject)
        kept, problems = read_found(placement.settings.values, found)
        if problems:
            raise Invalid.of(problems)
        verdicts = compare(placement.settings.values, kept)
        written = ReadBack.objects.create(
            slot=slot, placement=placement, by=by, found=kept,
            verdicts=verdicts, verdict=overall(verdicts),
        )  # fmt: skip
        if placement.verdict != written.verdict:
            Placement.objects.filter(pk=placement.pk).update(verdict=written.verdict)
    return written


def reading_verb() -> Verb:
    """A gateway reports under a verb of its own, so that its keeper need not be a shop lead."""
    by_gateway = ambient.get().road == Road.GATEWAY
    return Verb.GATEWAY_REPORT if by_gateway else Verb.SLOT_READ_BACK


def _lock(slot: Slot, seen: int, subject: Subject) -> Placement:
    """The placement that was seen, locked, so that nothing takes over before the verdict stands."""
    rows = Placement.objects.filter(slot=slot).select_related("settings")
    # By its id: a search for what is in force would miss what came into force while it waited.
    seen_row = rows.select_for_update(of=("self",)).filter(pk=seen)
    placement: Placement | None = seen_row.first()
    if placement is not None and placement.state == Placement.State.IN_FORCE:
        return placement
    current = rows.in_force().first()
    if current is None:
        raise Refused(
            "Nothing is in force in this slot, so there is nothing to compare it with.",
            who_may="a head roaster, by publishing to it",
            how_to_ask="Ask a head roaster to publish a recipe to this slot.",
            subject=subject,
            site_id=slot.station.machine.site_id,
        )
    raise Stale(
        f"This slot should hold something else by now: {current.settings.title}. "
        "Look at the newest settings, then read it back.",
        current_revision=current.pk,
    )
