"""A change request from a check shot that the grinder can't cure: what is said of it already."""

from stations.advice.gathering import advice_on
from stations.advice.words import tell
from stations.equipment.models import Slot
from stations.shots.models import CheckShot
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
    told = rows.counted().filter(placement=shot.placement_id).until(shot)
    return {
        "reason": reason[:1].upper() + reason[1:],
        "evidence": "\n".join(map(_line, told.newest_first()[:SHOTS])),
    }


def _line(shot: CheckShot) -> str:
    lot = f", lot {shot.opening}, {shot.days_off_roast} days off roast" if shot.opening else ""
    ground = f", grind {number(shot.grind_setting)}" if shot.grind_setting is not None else ""
    taste = f", {shot.get_taste_display().lower()}" if shot.taste else ""
    when = moment(shot.at, shot.site.time_zone)
    return (
        f"Check shot of {when}: {number(shot.dose_mass)} g in, {number(shot.beverage_mass)} g out"
        f" in {number(shot.shot_time)} s{ground}{lot}{taste}."
    )
