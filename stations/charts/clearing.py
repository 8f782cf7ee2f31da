"""Drifts of settings that were replaced: what shots under the new ones clear them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from stations.charts.models import Drift
from stations.equipment.models import Station
from stations.shots.models import CheckShot
from stations.slots.models import Placement

TO_CLEAR = 5  # shots in a row within tolerance, as many as a signal is news among; our choice


def held_at(station_id: int) -> dict[int, str]:
    """The content that each slot of the station should hold now."""
    rows = Placement.objects.in_force().filter(slot__station=station_id)
    return dict(rows.values_list("slot", "settings__content_digest"))


@dataclass(frozen=True, slots=True)
class Under:
    """What shots since a drift say of it: how many there are, in a row within, and the newest."""

    many: int
    within: int
    newest_at: datetime | None

    @property
    def clears(self) -> bool:
        """Whether they are enough."""
        return self.within >= TO_CLEAR


def shots_under(drift: Drift, content_digest: str) -> Under:
    """Counted from the newest back to the first that is not within the recipe's tolerance.

    What was pulled under that content before the drift says nothing of it. A value without a
    tolerance clears nothing: a baseline frozen anew does.
    """
    rows = CheckShot.objects.counted().exclude(**{drift.code: None}).after(drift.shot)
    newest = rows.newest_under([content_digest], drift.station_id, TO_CLEAR)
    told = list(newest.values_list("at", "verdicts"))
    verdicts = [verdicts.get(drift.code) for _, verdicts in told]
    within = next((n for n, one in enumerate(verdicts) if one != "within"), len(verdicts))
    return Under(len(told), within, told[0][0] if told else None)


@dataclass(frozen=True, slots=True)
class OpenDrift:
    """A drift of settings that its slot no longer holds, and what the shots of now say of it."""

    drift: Drift
    title: str
    under: Under


def open_from_before(station: Station, content_digest: str, code: str) -> list[OpenDrift]:
    """Drifts of the value under settings replaced by this content, or of this content itself."""
    found = [one for one in station.drifts.current().filter(code=code).select_related(
        "shot__placement__settings") if not one.held]  # fmt: skip
    if not found:
        return []
    held = held_at(station.pk)
    after = {one.pk: held.get(one.shot.slot_id, "") for one in found}
    concerned = [one for one in found if content_digest in (one.content_digest, after[one.pk])]
    return [OpenDrift(one, _title(one), shots_under(one, after[one.pk])) for one in concerned]


def _title(drift: Drift) -> str:
    return drift.shot.placement.settings.title


def replaced_by(drifts: Sequence[Drift], content_digest: str) -> list[Drift]:
    """Of one station's, those whose settings no slot holds, and whose slot holds this content."""
    held = held_at(drifts[0].station_id)
    contents = set(held.values())
    return [
        one
        for one in drifts
        if one.content_digest not in contents and held.get(one.shot.slot_id) == content_digest
    ]


def still_open(
    drifts: Sequence[Drift], content_digest: str, quiet: Collection[str] = ()
) -> tuple[list[Drift], list[Drift]]:
    """Those that shots under this content leave open, with the newest one's moment; the rest.

    ``quiet`` are the values whose own chart under this content signals nothing: as many shots clear
    them, whatever the tolerance.
    """
    left: list[Drift] = []
    cleared: list[Drift] = []
    for one in drifts:
        under = shots_under(one, content_digest)
        one.uncleared_at = under.newest_at or one.uncleared_at
        over = under.clears or (one.code in quiet and under.many >= TO_CLEAR)
        (cleared if over else left).append(one)
    return left, cleared
