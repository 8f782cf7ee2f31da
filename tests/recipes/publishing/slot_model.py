"""The rules of slots, publications and permits, told a second time and as plainly as can be."""

from dataclasses import dataclass, field
from typing import NamedTuple


class Holds(NamedTuple):
    """What entitles a slot to hold what it holds."""

    basis: str
    basis_id: int | None


@dataclass
class SlotModel:
    """One slot: what it holds, what a permit has pushed aside, what waits, the last verdict."""

    now: Holds | None = None
    aside: Holds | None = None
    waiting: int | None = None
    verdict: str = "unread"

    @property
    def locked(self) -> bool:
        """Whether somebody signed for what it holds."""
        return self.now is not None and self.now.basis != "by_hand"

    def take(self, now: Holds, aside: Holds | None = None) -> None:
        """Hold something else from here on; nobody has read it back."""
        self.now, self.aside, self.verdict = now, aside, "unread"


@dataclass
class PublicationModel:
    """One publication: the version, and what became of each slot it was signed for."""

    version: int
    due: bool
    state: str = "running"
    waiting: list[int] = field(default_factory=list)
    placed: int = 0
    cancelled: int = 0

    @property
    def unfinished(self) -> bool:
        """Whether the sweep must find it."""
        return self.state == "running" and (self.due or not self.waiting)


@dataclass
class World:
    """Everything, and what each person's act does to it. Acts that are refused return False."""

    slots: dict[int, SlotModel]
    publications: dict[int, PublicationModel] = field(default_factory=dict)
    permits: dict[int, list[int]] = field(default_factory=dict)  # those in force

    def placeable(self, version: int, slots: list[int]) -> list[int]:
        """Of these slots, those that a publication of this version would be placed in."""
        return [
            pk
            for pk in slots
            if self.slots[pk].waiting is None and not self._holds_already(pk, version)
        ]

    def _holds_already(self, pk: int, version: int) -> bool:
        now = self.slots[pk].now
        if now is None or now.basis != "publication" or now.basis_id is None:
            return False
        return self.publications[now.basis_id].version == version

    def publish(self, publication: int, version: int, slots: list[int], due: bool) -> None:
        """Signed: the slots wait."""
        self.publications[publication] = PublicationModel(version, due, waiting=sorted(slots))
        for pk in slots:
            self.slots[pk].waiting = publication

    def step(self, publication: int) -> int:
        """A worker places at most one slot; how many it placed."""
        model = self.publications[publication]
        if model.state != "running":
            return 0
        done = bool(model.due and model.waiting)
        if done:
            slot = self.slots[model.waiting.pop(0)]
            slot.waiting = None
            slot.take(Holds("publication", publication))
            self._close_overtaken()
            model.placed += 1
        if not model.waiting:
            model.state = "complete"
        return int(done)

    def move(self, publication: int, origin: str, target: str) -> bool:
        """Stop, resume or cancel."""
        model = self.publications[publication]
        if model.state != origin:
            return False
        model.state = target
        if target == "cancelled":
            for pk in model.waiting:
                self.slots[pk].waiting = None
            model.cancelled, model.waiting = len(model.waiting), []
        return True

    def may_permit(self, slots: list[int]) -> bool:
        """A permit needs something approved in force, and nothing about to take over."""
        return all(
            slot.now is not None
            and slot.now.basis == "publication"
            and (slot.waiting is None or not self.publications[slot.waiting].due)
            for slot in map(self.slots.__getitem__, slots)
        )

    def permit(self, permit: int, slots: list[int]) -> None:
        """Signed: what is approved is set aside."""
        self.permits[permit] = slots
        for pk in slots:
            slot = self.slots[pk]
            slot.take(Holds("permit", permit), slot.now)

    def _close_overtaken(self) -> None:
        """A permit that no slot is on any more is over."""
        self.permits = {
            permit: slots
            for permit, slots in self.permits.items()
            if any(self.slots[pk].now == Holds("permit", permit) for pk in slots)
        }

    def end(self, permit: int) -> int:
        """The slots that are still on it fall back; how many."""
        fallen = 0
        for pk in self.permits.pop(permit):
            slot = self.slots[pk]
            if slot.now == Holds("permit", permit) and slot.aside:
                slot.take(slot.aside)
                fallen += 1
        return fallen
