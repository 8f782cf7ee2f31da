"""Signing a plan: settled under locks, signed by name, placed in a handful of statements."""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol, TypeVar

from audit.capture.context import Recording
from audit.errors import Invalid, Refused
from people.persons.models import User
from people.signatures.models import Signature
from people.signatures.signing import Credentials, sign
from recipes.planning.plan import AnyLine, Plan, station_of
from recipes.translation.translating import cup_of, title_of
from recipes.versions.models import Version
from stations.slots.placing import Entitlement, StationSettings, lock_slots, schedule

MOVED = "The plan has moved since you looked at it: look at it again before you sign."
AnyPlan = Plan[Any]
P = TypeVar("P", bound=AnyPlan)
Key = tuple[int, str, int, str]  # station, digest of the version, variant (0: none), values


def say_why(reason: str, what: str = "") -> str:
    """The reason without blanks around it. Raises Invalid where there is none."""
    if not reason.strip():
        raise Invalid("reason", "", f"a sentence that says why {what}".rstrip())
    return reason.strip()


def settled(*, slots: Sequence[int], make: Callable[[], P], seen: str) -> P:
    """The plan made anew, now that nobody else can change its slots, if it is the one seen.

    ``seen`` is the digest of the plan that its signer saw. Raises Refused when it has moved since,
    or can't be signed as it stands.
    """
    lock_slots(slots)
    plan = make()
    # Slots that come into question only now are nobody's here: another may be changing them.
    if plan.digest != seen or not {line.slot.pk for line in plan.lines} <= set(slots):
        raise Refused(MOVED)
    hindrance = plan.hindrance()
    if hindrance:
        raise hindrance
    return plan


def must_acknowledge(plan: AnyPlan, acknowledged: bool) -> None:
    """Raise Invalid unless whoever signs accepts by name what the plan flags."""
    if plan.to_acknowledge and not acknowledged:
        allowed = "a tick, which accepts it in your name: " + plan.to_acknowledge[0]
        raise Invalid("acknowledged", "", allowed)


@dataclass(frozen=True, slots=True)
class Signer:
    """Who signs, and what they typed for it."""

    by: User
    credentials: Credentials
    site_id: int | None = None  # where the role must hold, if not anywhere


def sign_plan(plan: AnyPlan, subject_id: int, signer: Signer, recording: Recording) -> Signature:
    """Write the signature over the plan's digest, with what was seen; what follows is under it."""
    signature = sign(
        by=signer.by,
        credentials=signer.credentials,
        meaning=plan.kind.meaning,
        digest=plan.digest,
        seen=plan.seen,
        subject_type=plan.kind.basis,
        subject_id=subject_id,
        verb=plan.kind.verb,
        site_id=signer.site_id,
    )
    recording.signed(signature.pk)
    return signature


class Document(Protocol):
    """What is kept of a signed plan: a publication or a permit."""

    pk: Any
    signature: Any

    def save(self, *, update_fields: list[str]) -> None:
        """Write these fields."""


def sign_document(
    plan: AnyPlan, document: Document, signer: Signer, recording: Recording
) -> Signature:
    """Sign what was just written of a plan, which from then on stays as it is."""
    signature = sign_plan(plan, document.pk, signer, recording)
    document.signature = signature
    document.save(update_fields=["signature"])
    return signature


def place(
    plan: AnyPlan, signature: Signature, *, due: Mapping[int, datetime], mark: str = ""
) -> None:
    """Schedule every placement of a signed plan at its site's instant; ``mark`` ends the titles.

    One set of control settings for each station, version and values.
    """
    entitlement = Entitlement(plan.kind.basis, signature.subject_id, plan.kind.manner, signature)
    place_lines(plan.to_place, entitlement, due=due, mark=mark)


def place_lines(
    lines: Iterable[AnyLine], entitlement: Entitlement, *, due: Mapping[int, datetime],
    mark: str = "",
) -> None:  # fmt: skip
    """Schedule a placement for each of these lines under that entitlement."""
    slots, settings = _grouped(lines, mark)
    for keys in _calls(slots):
        schedule(
            entitlement=entitlement,
            settings=[settings[key] for key in keys],
            slots=[slot for key in keys for slot in slots[key]],
            due={settings[key].site_id: due[settings[key].site_id] for key in keys},
        )


def _grouped(
    lines: Iterable[AnyLine], mark: str
) -> tuple[dict[Key, list[int]], dict[Key, StationSettings]]:
    """The slots of each set of settings, and the settings."""
    slots: dict[Key, list[int]] = {}
    settings: dict[Key, StationSettings] = {}
    known: dict[tuple[int, int], Key] = {}  # thousands of slots share a translation
    cups: dict[tuple[int, int | None], dict[str, dict[str, str]]] = {}
    for line in lines:
        station, version = station_of(line), _version_of(line)
        key = known.get((id(station), version.pk))
        if key is None:
            text = json.dumps(station.values, sort_keys=True)
            key = known[id(station), version.pk] = (
                station.station_id, version.content_digest, station.variant or 0, text,
            )  # fmt: skip
        if key not in settings:
            said = version.pk, station.variant
            if said not in cups:
                cups[said] = cup_of(version.stated_for(station.variant))
            settings[key] = StationSettings(
                station.station_id, station.site_id, title_of(version) + mark,
                version.content_digest, station.values, cups[said], station.variant,
            )  # fmt: skip
        slots.setdefault(key, []).append(line.slot.pk)
    return slots, settings


def _version_of(line: AnyLine) -> Version:
    if line.version is None:
        raise RuntimeError("a slot that is placed has a version")
    return line.version


def _calls(keys: Iterable[Key]) -> list[list[Key]]:
    """Within one call a station has one set of settings."""
    calls: list[list[Key]] = []
    met: Counter[int] = Counter()
    for key in keys:
        if met[key[0]] == len(calls):
            calls.append([])
        calls[met[key[0]]].append(key)
        met[key[0]] += 1
    return calls
