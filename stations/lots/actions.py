"""Opening a bag at a grinder or a station, and saying that it is finished."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models.functions import Now
from django.dispatch import Signal
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.grinders.models import Grinder
from stations.lots.models import LotOpening
from stations.lots.shelf import READY, Lot, aged, lots_coded
from web.checks import Checks

LOT_OPENED = register("lot.opened", "Opened roast lot")
LOT_CLOSED = register("lot.closed", "Finished roast lot")

REASON = 500
LABEL = 121  # coffee, a blank, code: what is typed or scanned may be either or both

# Sent in the transaction that opens a lot, with ``lot_id`` and ``site_id``: for what was to
# happen when a site opens it.
lot_opened = Signal()


@dataclass(frozen=True, slots=True)
class Asked:
    """The answer to what is asked of a lot that is not in its window."""

    confirmed: bool = False
    reason: str = ""


def open_lot(
    *, by: User, at: Grinder | Station, seen_opening: int | None, code: str, coffee: str = "",
    confirmed: bool = False, reason: str = "",
) -> LotOpening:  # fmt: skip
    """Begin to brew a roast lot here; whatever was open here is finished by it.

    ``seen_opening`` is what was seen open here, ``coffee`` tells two lots of one code apart. A lot
    still resting or past its window needs ``confirmed`` and a ``reason``. Raises Invalid, Stale
    and NotPermitted.
    """
    site = site_of(at)
    subject = Subject("site", site.pk, f"{site} · {at}")
    with recorded(by=by, action=LOT_OPENED, reason=reason, subject=subject, site_id=site.pk):
        require(by, Verb.LOT_OPEN, site.pk, subject)
        current = _lock(at, seen_opening)
        lot = the_lot(code, coffee)
        if current is not None and current.lot_id == lot.id:
            raise Invalid("code", code, "another lot than the one that is open here already")
        state = _asked(lot, site, Asked(confirmed, reason))
        if current is not None:
            _close(current, by)
        made = LotOpening.objects.create(
            site=site, lot_id=lot.id, coffee=lot.coffee, code=lot.code,
            roasted_on=lot.roasted_on, rest_from=lot.rest_from, rest_to=lot.rest_to,
            state=state, reason="" if state == READY else reason.strip(), opened_by=by, **_at(at),
        )  # fmt: skip
        lot_opened.send(sender=LotOpening, lot_id=lot.id, site_id=site.pk)
        return made


def close_lot(*, by: User, opening: LotOpening, seen_open: bool) -> LotOpening:
    """Say that a bag is finished, without opening another.

    ``seen_open`` says that it was seen open. Raises Refused where it is finished already,
    NotPermitted.
    """
    subject = Subject("site", opening.site_id, f"{opening.site} · {opening.where}")
    with recorded(by=by, action=LOT_CLOSED, subject=subject, site_id=opening.site_id):
        require(by, Verb.LOT_OPEN, opening.site_id, subject)
        held = LotOpening.objects.select_for_update(of=("self",)).get(pk=opening.pk)
        if held.closed_at is not None or not seen_open:
            raise Refused("This bag is finished already.")
        _close(held, by)
        return LotOpening.objects.with_place().get(pk=held.pk)


def site_of(at: Grinder | Station) -> Site:
    """The bar it stands in."""
    return at.site if isinstance(at, Grinder) else at.machine.site


def open_at(at: Grinder | Station, moment: datetime | None = None) -> LotOpening | None:
    """What is open here, or was at that moment."""
    rows = LotOpening.objects.open() if moment is None else LotOpening.objects.open_then(moment)
    return rows.with_place().filter(**_at(at)).first()


def the_lot(code: str, coffee: str = "") -> Lot:
    """The one lot that is meant. Raises Invalid naming code or coffee."""
    checks = Checks()
    wanted = checks.text("code", code, most=LABEL)
    checks.done()
    found = lots_coded(wanted)
    if not found:
        raise Invalid("code", code, "a lot that the roaster entered, as on its bag")
    named = [lot for lot in found if not coffee or lot.coffee == coffee]
    if len(named) != 1:
        raise Invalid("coffee", coffee, f"one of {', '.join(lot.coffee for lot in found)}")
    return named[0]


def _asked(lot: Lot, site: Site, answer: Asked) -> str:
    """How the lot stands today. Raises Invalid where that has to be confirmed, and is not."""
    today = site.local(timezone.now()).date()
    if lot.roasted_on > today:
        raise Invalid("code", lot.code, f"a lot that is roasted: this one will be {lot.roasted_on}")
    state = aged(lot.roasted_on, lot.rest_from, lot.rest_to, today)
    if state.state == READY:
        return READY
    checks = Checks()
    checks.that(answer.confirmed, "confirmed", "", f"a tick, knowing that it is {state.words}")
    checks.text("reason", answer.reason, most=REASON)
    checks.done()
    return state.state


def _lock(at: Grinder | Station, seen: int | None) -> LotOpening | None:
    """What is open here, with nobody else opening anything. Raises Stale."""
    type(at)._base_manager.select_for_update(no_key=True).get(pk=at.pk)
    current = LotOpening.objects.open().filter(**_at(at)).select_for_update(of=("self",)).first()
    if (current.pk if current else None) != seen:
        told = f"{current} was opened here" if current else "what was open here was finished"
        raise Stale(f"Meanwhile {told}.", current.pk if current else 0)
    return current


def _at(at: Grinder | Station) -> dict[str, Any]:
    return {"grinder": at} if isinstance(at, Grinder) else {"station": at}


def _close(opening: LotOpening, by: User) -> None:
    # clock_timestamp would do as well; the row's own moment is never after this one.
    LotOpening.objects.filter(pk=opening.pk).update(closed_at=Now(), closed_by=by)
