"""Setting what a site asks before it opens."""

from datetime import time

from audit.capture.context import recorded
from audit.errors import Stale, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.bounds import SLOT_COUNT
from stations.equipment.models import Site
from stations.opening.models import MOST_SHOTS, OpeningPolicy
from web.checks import Checks

OPENING_SET = register("opening.set", "Set opening check")

MOST_SLOT = int(SLOT_COUNT.high or 32)
NUMBERED = f"slot numbers from 1 to {MOST_SLOT} such as 1, 3, or nothing for every slot in use"


def set_opening(
    *, by: User, site: Site, revision: int, shots: int, counts_from: time, opens_at: time,
    slots: str = "",
) -> OpeningPolicy:  # fmt: skip
    """Ask for so many check shots within tolerance of each slot in use; none with 0.

    ``revision`` is that of the policy as it was seen, 0 where there was none. Raises Invalid,
    Stale and NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=OPENING_SET, subject=subject, site_id=site.pk):
        require(by, Verb.OPENING_SET, site.pk, subject)
        checks = Checks()
        kept: dict[str, object] = {
            "shots": checks.whole("shots", shots, 0, MOST_SHOTS, " of shots"),
            "counts_from": counts_from,
            "opens_at": opens_at,
            "slots": _numbers(checks, slots),
        }
        checks.that(
            counts_from != opens_at, "opens_at", opens_at, "another hour than shots count from"
        )
        checks.done()
        return _write(site, revision, kept)


def _write(site: Site, revision: int, kept: dict[str, object]) -> OpeningPolicy:
    if revision:
        policy = OpeningPolicy.objects.select_related("site").filter(site=site).first()
        if policy is not None:
            compare_and_set(policy, revision, **kept)
            return policy
    policy, made = OpeningPolicy.objects.get_or_create(site=site, defaults=kept)
    if not made or revision:
        raise Stale("It was changed meanwhile: look at the newest state first.", policy.revision)
    return policy


def _numbers(checks: Checks, typed: str) -> str:
    """Slot numbers as they are kept: in order, each once."""
    parts = str(typed).replace(",", " ").split()
    whole = [part for part in parts if part.isascii() and part.isdigit()]
    found = sorted({int(part) for part in whole if len(part) < 3})
    good = len(whole) == len(parts) and all(len(part) < 3 for part in whole)
    checks.that(
        good and all(1 <= number <= MOST_SLOT for number in found), "slots", typed, NUMBERED
    )
    return ",".join(map(str, found))
