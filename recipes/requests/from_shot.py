"""A change request from a check shot that the grinder can't cure: what is said of it already."""

from stations.advice.gathering import advice_on
from stations.advice.words import tell
from stations.equipment.models import Slot
from stations.shots.models import CheckShot
from stations.slots.models import ReadBack
from web.lookup import asked_number, one_or_404
from web.pages import PageRequest
from web.printing import moment, number

SHOTS = 3  # told as evidence, the newest first


def initial_from_shot(request: PageRequest, slot: Slot | None) -> dict[str, object]:
    """Reason and evidence from the check shot that ?shot= leads from; nothing without one.

    Raises Http404.
    """
    if "shot" not in request.GET or slot is None:
        return {}
    rows = CheckShot.objects.covered_by(request.user).with_place().filter(slot=slot)
    shot = one_or_404(rows, asked_number(request, "shot"))
    advised = advice_on(shot)
    said = tell(advised) if advised else None
    reason = said.do.partition(": ")[2] if said and said.asks else ""
    told = rows.counted().filter(placement=shot.placement_id).until(shot)[:SHOTS]
    return {
        "reason": reason[:1].upper() + reason[1:],
        "evidence": "\n".join(map(_line, told)),
    }


def asked_ids(request: PageRequest) -> tuple[int | None, int | None]:
    """The check shot and the read-back that one comes from. Raises Invalid."""
    shot, read_back = (
        asked_number(request, name) if name in request.GET else None
        for name in ("shot", "read_back")
    )
    return shot, read_back


def initial_ticks(request: PageRequest) -> dict[str, object]:
    """What one comes from is ticked already."""
    shot, read_back = asked_ids(request)
    return {"shots": [shot] if shot else [], "read_backs": [read_back] if read_back else []}


def asked_thing(request: PageRequest) -> CheckShot | ReadBack:
    """The check shot or read-back that is to be used, of a site one covers. Raises Http404."""
    shot, read_back = asked_ids(request)
    if shot is None and read_back is not None:
        rows = ReadBack.objects.filter(slot__in=Slot.objects.covered_by(request.user))
        rows = rows.select_related("slot__station__machine__site", "by", "placement")
        return one_or_404(rows, read_back)
    shots = CheckShot.objects.covered_by(request.user).with_place()
    return one_or_404(shots, shot if shot is not None else asked_number(request, "shot"))


def named_in(thing: CheckShot | ReadBack) -> dict[str, int]:
    """Its id, by the name of what it is."""
    return {"shots" if isinstance(thing, CheckShot) else "read_backs": thing.pk}


def _line(shot: CheckShot) -> str:
    lot = f", lot {shot.opening}, {shot.days_off_roast} days off roast" if shot.opening else ""
    ground = f", grind {number(shot.grind_setting)}" if shot.grind_setting is not None else ""
    taste = f", {shot.get_taste_display().lower()}" if shot.taste else ""
    when = moment(shot.at, shot.site.time_zone)
    return (
        f"Check shot of {when}: {number(shot.dose_mass)} g in, {number(shot.beverage_mass)} g out"
        f" in {number(shot.shot_time)} s{ground}{lot}{taste}."
    )
