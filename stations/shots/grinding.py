"""What a shot at a slot is ground with: the grinder, the mark it stands at, the lot open there."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from audit.errors import Invalid
from stations.equipment.models import Slot
from stations.grinders.models import Grinder
from stations.lots.actions import open_at
from stations.lots.models import LotOpening
from stations.shots.models import CheckShot


@dataclass(frozen=True, slots=True)
class Ground:
    """The grinder, its mark and the lot; each None where none is known."""

    grinder: Grinder | None
    setting: Decimal | None
    opening: LotOpening | None


def grinders_of(slot: Slot) -> list[Grinder]:
    """Those that serve the slot's station, the one last used for this slot first."""
    serving = list(Grinder.objects.of_station(slot.station).select_related("site"))
    if len(serving) > 1:
        newest = CheckShot.objects.filter(slot=slot, grinder__in=serving).newest_first()
        last = newest.values_list("grinder", flat=True).first()
        serving.sort(key=lambda each: each.pk != last)
    return serving


def ground_with(
    slot: Slot, named: Grinder | None, setting: Decimal | None, moment: datetime | None = None
) -> Ground:
    """With the named grinder, or the usual one, now or as it stood at that moment.

    Raises Invalid naming grinder or grind_setting.
    """
    serving = grinders_of(slot)
    if named is not None and named not in serving:
        raise Invalid("grinder", named, "a grinder that serves this station")
    grinder = named or (serving[0] if serving else None)
    if grinder is None:
        if setting is not None:
            raise Invalid("grind_setting", setting, "nothing: no grinder serves this station")
        return Ground(None, None, open_at(slot.station, moment))
    if setting is None:
        events = grinder.events.filter(at__lte=moment) if moment else grinder.events.all()
        newest = events.first()
        setting = newest.setting if newest else None
    return Ground(grinder, setting, open_at(grinder, moment) or open_at(slot.station, moment))
