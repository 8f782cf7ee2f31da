"""What slots should hold, ready to be shown: at the bar, on a list, on paper, to a gateway."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from stations.equipment.models import Slot
from stations.machine_types.catalogue import Printed, printed
from stations.slots.models import Placement
from stations.slots.signed import NOT_AS_SIGNED, withhold


@dataclass(frozen=True, slots=True)
class Holding:
    """A slot, what is in force for it (if anything), and its condition.

    Settings that are not what was signed are withheld: there are none, and a ``problem``.
    """

    slot: Slot
    condition: str
    placement: Placement | None
    settings: list[Printed]
    unverified_since: datetime | None = None  # told by `stations.slots.unverified`

    @property
    def title(self) -> str:
        """What it should hold, in the bar's words; empty where nothing is in force."""
        return self.placement.settings.title if self.placement else ""

    @property
    def problem(self) -> str:
        """Why its settings can't be shown, in words; empty where they are as signed."""
        return self.placement.problem if self.placement else ""

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

    @property
    def settled(self) -> bool:
        """Whether nobody has to do anything about it: as signed, and found to match."""
        return not self.problem and bool(
            self.placement and self.placement.verdict == Placement.Verdict.MATCHES
        )


def holdings(slots: Any) -> list[Holding]:  # noqa: ANN401
    """The slots of a queryset with what each should hold, in a fixed number of queries."""
    return hold(list(slots.with_condition().with_equipment()))


def hold(slots: Sequence[Any]) -> list[Holding]:
    """The same for slots that were read already, each annotated with its condition."""
    current = in_force(slot.pk for slot in slots)
    return [_holding(slot, current.get(slot.pk)) for slot in slots]


def in_force(slots: Iterable[int]) -> dict[int, Placement]:
    """The placements in force by slot, with signatures, and with settings if they are as signed."""
    rows = Placement.objects.in_force().filter(slot__in=list(slots))
    found = list(rows.select_related("settings", "signature", "slot"))
    withhold(found)
    return {row.slot_id: row for row in found}


def _holding(slot: Any, placement: Placement | None) -> Holding:  # noqa: ANN401
    settings = printed(placement.settings.values) if placement else []
    condition = NOT_AS_SIGNED if placement and placement.problem else slot.condition
    return Holding(slot, condition, placement, settings)
