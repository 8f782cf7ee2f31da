"""Setting an unlocked slot by hand, as one does while dialling in."""

from collections.abc import Mapping

from django.db.models import F, Value
from django.db.models.functions import Greatest
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject, shown
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Slot
from stations.machine_types.catalogue import ENDINGS, unit_of
from stations.metrology.formula import ENDS_BY
from stations.slots.bases import BY_HAND, who_may_change
from stations.slots.models import ControlSettings, Placement
from stations.slots.placing import lock_slots
from web.checks import Checks
from web.numbers import Bounds

SLOT_SET_BY_HAND = register("slot.set_by_hand", "Set slot by hand")

HOW_TO_ASK = (
    "Ask for a change from the slot's page: the head roaster decides it with your evidence."
)


def place_by_hand(*, slot: Slot, values: Mapping[str, Mapping[str, str]], by: User) -> Placement:
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
        now = timezone.now()  # of both: at no moment did the slot hold nothing
        slot.placements.filter(state="in_force").update(
            state="ended", ended_at=Greatest(F("started_at"), Value(now))
        )
        settings = ControlSettings.objects.create(
            station=slot.station, title="Set by hand", values=dict(values)
        )
        return Placement.objects.create(
            slot=slot, site=site, settings=settings, basis=BY_HAND,
            manner=Placement.Manner.BY_HAND,
            state=Placement.State.IN_FORCE, due_at=now, started_at=now,
        )  # fmt: skip


def refuse_if_locked(slot: Slot, values: Mapping[str, Mapping[str, str]]) -> None:
    """Raise Refused when a signed placement is in force; call it with the slot locked."""
    held = (
        slot.placements.filter(state="in_force")
        .exclude(manner=Placement.Manner.BY_HAND)
        .select_related("settings")
        .first()
    )
    if held is None:
        return
    raise Refused(
        f"This slot is locked: it holds {held.settings.title}.",
        who_may_change(),
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


# Setting an unlocked slot by hand, from what somebody typed.


def set_by_hand(*, slot: Slot, values: Mapping[str, str], by: User) -> Placement:
    """Note that an unlocked slot holds these values now, in the machine's own units.

    Only what the machine is able to set, within its range; what is empty is left out. Raises
    Invalid, NotPermitted, and Refused for a locked slot (the history keeps the attempt).
    """
    site_id = slot.station.machine.site_id
    subject = Subject("slot", slot.pk, str(slot))
    with recorded(by=by, action=SLOT_SET_BY_HAND, subject=subject, site_id=site_id):
        require(by, Verb.SLOT_SET_BY_HAND, site_id, subject)
        wanted = {code: str(text).strip() for code, text in values.items() if str(text).strip()}
        # Before the values are looked at: an attempt on a locked slot counts however it is spelt.
        lock_slots([slot.pk])
        tried = {shown(code): shown(text) for code, text in wanted.items()}
        refuse_if_locked(slot, _as_settings(tried))
        _check(slot, wanted)
        return place_by_hand(slot=slot, values=_as_settings(wanted), by=by)


def _as_settings(values: Mapping[str, str]) -> dict[str, dict[str, str]]:
    return {code: {"value": text, "unit": unit_of(code)} for code, text in values.items()}


def _check(slot: Slot, values: Mapping[str, str]) -> None:
    """Raise Invalid for anything that this machine could not hold."""
    abilities = {a.parameter: a for a in slot.station.machine.machine_type.abilities.all()}
    checks = Checks()
    for code, text in values.items():
        ability = abilities.get(code)
        if code == ENDS_BY:
            able = [e for e in slot.station.machine.machine_type.ends_by if e in ENDINGS]
            checks.choice(code, text, able)
        elif ability is None:
            able = [*abilities, ENDS_BY]
            checks.fault(code, text, f"what this machine can set: {', '.join(able)}")
        else:
            bounds = Bounds(ability.minimum, ability.maximum, unit=unit_of(code))
            checks.number(code, text, bounds)
    if not values:
        raise Invalid("values", "", "at least one setting")
    checks.done()
