"""Setting an unlocked slot by hand, as one does while dialling in."""

from collections.abc import Mapping

from django.db.models import F
from django.db.models.functions import Greatest, Now
from django.utils import timezone

from audit.context import recorded
from audit.errors import Refused
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from stations.models import ControlSettings, Placement, Slot
from stations.placing import lock_slots

WHO_MAY = "A head roaster changes it, with a publication or a deviation permit."
HOW_TO_ASK = (
    "Ask for a change from the slot's page: the head roaster decides it with your evidence."
)


def set_by_hand(*, slot: Slot, values: Mapping[str, Mapping[str, str]], by: User) -> Placement:
    """Note that an unlocked slot holds these settings now.

    ``values`` as in ``ControlSettings``. Raises NotPermitted, and Refused for a locked slot,
    whose attempt the history keeps.
    """
    site = slot.station.machine.site
    subject = Subject("slot", slot.pk, str(slot))
    with recorded(by=by, action="slot.set_by_hand", subject=subject, site_id=site.pk):
        require(by, Verb.SLOT_SET_BY_HAND, site.pk, subject)
        lock_slots([slot.pk])
        refuse_if_locked(slot, values)
        slot.placements.filter(state="in_force").update(
            state="ended", ended_at=Greatest(F("started_at"), Now())
        )
        settings = ControlSettings.objects.create(
            station=slot.station, title="Set by hand", values=dict(values)
        )
        now = timezone.now()
        return Placement.objects.create(
            slot=slot, site=site, settings=settings, basis=Placement.Basis.BY_HAND,
            state=Placement.State.IN_FORCE, due_at=now, started_at=now,
        )  # fmt: skip


def refuse_if_locked(slot: Slot, values: Mapping[str, Mapping[str, str]]) -> None:
    """Raise Refused when a signed placement is in force; call it with the slot locked."""
    held = (
        slot.placements.filter(state="in_force")
        .exclude(basis=Placement.Basis.BY_HAND)
        .select_related("settings")
        .first()
    )
    if held is None:
        return
    raise Refused(
        f"This slot is locked: it holds {held.settings.title}.",
        WHO_MAY,
        HOW_TO_ASK,
        subject=Subject("slot", slot.pk, str(slot)),
        site_id=slot.station.machine.site_id,
        attempted=_attempted(held.settings.values, values),
    )


def _attempted(
    held: Mapping[str, Mapping[str, str]], wanted: Mapping[str, Mapping[str, str]]
) -> dict[str, tuple[object, object]]:
    """Field by field what was tried, only where it differs from what the slot should hold."""
    return {
        code: (held.get(code, {}).get("value"), value["value"])
        for code, value in wanted.items()
        if held.get(code, {}).get("value") != value["value"]
    }
