"""What becomes of differences: found with their window, restored by policy, stopped, over."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.capture.context import recorded
from audit.errors import Invalid
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.gateways.differences import MOST, SILENT, Difference, GatewayPolicy
from stations.gateways.models import Gateway
from stations.gateways.reading import Reading
from stations.gateways.told import Told

DIFFERENCE_FOUND = register("difference.found", "Found a difference")
DIFFERENCE_OVER = register("difference.over", "Found as it should be again")
SLOT_RESTORED = register("slot.restored", "Restored slot")
RESTORING_STOPPED = register("slot.restoring_stopped", "Left restoring to a person")
GATEWAY_POLICY_SET = register("gateway.policy_set", "Set what gateways do by themselves")

DAY = timedelta(hours=24)


def set_gateway_policy(
    *, by: User, site: Site, revision: int, restores: bool, most: int, silent_minutes: int
) -> GatewayPolicy:
    """What gateways of a site do by themselves. Raises Invalid, NotPermitted, Stale."""
    with recorded(by=by, action=GATEWAY_POLICY_SET, site_id=site.pk):
        require_in_full(by, "set policy")
        require(by, Verb.POLICY_SET, site.pk)
        for name, given, (low, high) in (
            ("most", most, MOST), ("silent_minutes", silent_minutes, SILENT)
        ):  # fmt: skip
            if not low <= given <= high:
                raise Invalid(name, given, f"a whole number from {low} to {high}")
        policy = GatewayPolicy.objects.get_or_create(site=site)[0]
        compare_and_set(
            policy, revision, restores=restores, most=most, silent_minutes=silent_minutes
        )
    return policy


@dataclass(frozen=True, slots=True)
class Step:
    """A slot was loaded with a placement (no verdict), or read for it."""

    at: datetime
    sequence: int
    slot: int
    placement: int
    verdict: str = ""


Seen = Mapping[int, tuple[datetime, datetime | None]]  # by slot: last read, last as it should be


def follow_differences(
    gateway: Gateway, readings: Sequence[Reading], loaded: Sequence[Told], seen: Seen
) -> None:
    """What a batch says of differences: begun, restored, there again, over.

    ``seen``: how slots stood before it. What is older than that says nothing of what lasts.
    """
    steps = [*_read_steps(readings, seen), *_loaded_steps(loaded)]
    if not steps:
        return
    slots = {each.slot for each in steps}
    rows = Difference.objects.open().filter(slot__in=slots, site=gateway.site_id)
    lasting = list(rows.select_for_update().order_by("pk"))
    course = _Course(
        gateway, GatewayPolicy.at(gateway.site_id), {each.slot_id: each for each in lasting},
        {slot: good for slot, (_, good) in seen.items() if good},
        _restored(slots, min(each.at for each in steps) - DAY),
    )  # fmt: skip
    for step in sorted(steps, key=lambda each: (each.at, each.sequence)):
        course.take(step)
    _write(course, lasting)


def _read_steps(readings: Sequence[Reading], seen: Seen) -> list[Step]:
    return [
        Step(each.at, each.told.sequence, each.slot, each.placement, each.verdict)
        for each in readings
        if each.slot not in seen or each.at >= seen[each.slot][0]
    ]


def _loaded_steps(loaded: Sequence[Told]) -> list[Step]:
    return [
        Step(each.at, each.sequence, each.event.data["slot"], each.event.data["placement"])
        for each in loaded
        if not each.found
    ]


def _restored(slots: Collection[int], since: datetime) -> dict[int, list[tuple[datetime, int]]]:
    """By slot, when differences that are over were restored, and how often."""
    rows = Difference.objects.filter(slot__in=slots, restored_at__gte=since).exclude(over_at=None)
    found: dict[int, list[tuple[datetime, int]]] = defaultdict(list)
    for slot, at, times in rows.order_by().values_list("slot", "restored_at", "restores"):
        found[slot].append((at or since, times))
    return found


@dataclass
class _Course:
    """The slots of a batch, step by step."""

    gateway: Gateway
    policy: GatewayPolicy
    lasting: dict[int, Difference]
    good: dict[int, datetime]
    restored: dict[int, list[tuple[datetime, int]]]
    begun: list[Difference] = field(default_factory=list)

    def take(self, step: Step) -> None:
        """One step."""
        here = self.lasting.get(step.slot)
        if not step.verdict:
            self._loaded(here, step)
            return
        if here and (step.verdict == "matches" or here.placement_id != step.placement):
            here.over_at = max(step.at, here.bad_at)
            self.restored.setdefault(step.slot, []).append(
                (here.restored_at or here.bad_at, here.restores)
            )
            here = self.lasting.pop(step.slot, None) and None
        if step.verdict == "matches":
            self.good[step.slot] = step.at
        elif step.verdict == "differs":
            self._differs(here, step)

    def _loaded(self, here: Difference | None, step: Step) -> None:
        if here and here.placement_id == step.placement and step.at >= here.bad_at:
            here.restores += 1
            here.restored_at = step.at

    def _differs(self, here: Difference | None, step: Step) -> None:
        if here is None:
            good = self.good.get(step.slot)
            here = self.lasting[step.slot] = Difference(
                slot_id=step.slot, site_id=self.gateway.site_id, placement_id=step.placement,
                gateway=self.gateway, bad_at=step.at,
                good_at=good if good and good <= step.at else None,
            )  # fmt: skip
            self.begun.append(here)
        times = here.restores + sum(
            times for at, times in self.restored.get(step.slot, ()) if at > step.at - DAY
        )
        if self.policy.restores and here.stopped_at is None and times >= self.policy.most:
            here.stopped_at = step.at


def _write(course: _Course, lasting: Sequence[Difference]) -> None:
    """What was there first, so that a slot never has two that last."""
    for action, names in (
        (SLOT_RESTORED, ["restores", "restored_at"]),
        (RESTORING_STOPPED, ["stopped_at"]),
        (DIFFERENCE_OVER, ["over_at"]),
    ):
        changed = [each for each in lasting if getattr(each, names[-1])]
        if changed:
            with recorded(by=None, action=action):
                Difference.objects.bulk_update(changed, names)
    if course.begun:
        with recorded(by=None, action=DIFFERENCE_FOUND):
            Difference.objects.bulk_create(course.begun)


@register_alarm
def restored_in_vain() -> Iterable[Alarm]:
    """Slots that somebody, or something, changes again and again."""
    rows = Difference.objects.open().exclude(stopped_at=None)
    rows = rows.filter(placement__state="in_force")
    for each in rows.select_related("slot__station__machine__site").order_by("pk"):
        site = each.slot.station.machine.site
        yield Alarm(
            f"{site}: {each.slot} was restored again and again and differs still: see what"
            " changes it.",
            reverse("stations:slot", args=[each.slot_id]),
            since=each.stopped_at,
            key=f"restored_in_vain:{each.pk}",
        )
