"""Setting an unlocked slot by hand, from what somebody typed."""

from collections.abc import Mapping

from audit.context import recorded
from audit.errors import Invalid, shown
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.printing import unit_label
from people.verbs import Verb
from people.web.numbers import Bounds
from stations import history
from stations.by_hand import refuse_if_locked
from stations.by_hand import set_by_hand as place_by_hand
from stations.catalogue import ENDINGS
from stations.checks import Checks
from stations.models import Placement, Slot
from stations.placing import lock_slots
from stations.printing import ENDS_BY, unit_of


def set_by_hand(*, slot: Slot, values: Mapping[str, str], by: User) -> Placement:
    """Note that an unlocked slot holds these values now, in the machine's own units.

    Only what the machine is able to set, within its range; what is empty is left out. Raises
    Invalid, NotPermitted, and Refused for a locked slot (the history keeps the attempt).
    """
    site_id = slot.station.machine.site_id
    subject = Subject("slot", slot.pk, str(slot))
    with recorded(by=by, action=history.SLOT_SET_BY_HAND, subject=subject, site_id=site_id):
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
    abilities = {a.parameter: a for a in slot.station.machine.abilities.abilities.all()}
    checks = Checks()
    for code, text in values.items():
        ability = abilities.get(code)
        if code == ENDS_BY:
            able = [e for e in slot.station.machine.abilities.ends_by if e in ENDINGS]
            checks.choice(code, text, able)
        elif ability is None:
            able = [*abilities, ENDS_BY]
            checks.fault(code, text, f"what this machine can set: {', '.join(able)}")
        else:
            unit = unit_label(unit_of(code))
            checks.number(code, text, Bounds(ability.minimum, ability.maximum, unit=unit))
    if not values:
        raise Invalid("values", "", "at least one setting")
    checks.done()
