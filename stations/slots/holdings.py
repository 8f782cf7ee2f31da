"""What slots should hold, ready to be shown: at the bar, on a list, on paper, to a gateway."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from stations.equipment.models import Slot
from stations.machine_types.catalogue import Printed, printed
from stations.slots.models import Placement


@dataclass(frozen=True, slots=True)
class Holding:
    """A slot, what is in force for it (if anything), and its condition."""

    slot: Slot
    condition: str
    placement: Placement | None
    settings: list[Printed]

    @property
    def title(self) -> str:
        """What it should hold, in the bar's words; empty where nothing is in force."""
        return self.placement.settings.title if self.placement else ""

    @property
    def locked(self) -> bool:
        """Whether what it holds is signed."""
        return bool(self.placement and self.placement.locks)

    @property
    def to_load(self) -> bool:
        """Whether somebody has to go there: not read back since it came into force."""
        return self.locked and bool(
            self.placement and self.placement.verdict == Placement.Verdict.UNREAD
        )


def holdings(slots: Any) -> list[Holding]:  # noqa: ANN401
    """The slots of a queryset with what each should hold, in two queries."""
    return hold(list(slots.with_condition().with_equipment()))


def hold(slots: Sequence[Any]) -> list[Holding]:
    """The same for slots that were read already, each annotated with its condition."""
    current = in_force(slot.pk for slot in slots)
    return [_holding(slot, current.get(slot.pk)) for slot in slots]


def in_force(slots: Iterable[int]) -> dict[int, Placement]:
    """The placements in force by slot, with their settings and signatures."""
    rows = Placement.objects.in_force().filter(slot__in=list(slots))
    return {row.slot_id: row for row in rows.select_related("settings", "signature")}


def _holding(slot: Any, placement: Placement | None) -> Holding:  # noqa: ANN401
    settings = printed(placement.settings.values) if placement else []
    return Holding(slot, slot.condition, placement, settings)
