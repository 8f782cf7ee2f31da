"""What stands in the grid: slot by slot what it should hold, how it was read back, how it pours.

A fixed number of queries for any number of slots.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from recipes.grid.asked import Asked
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.shots.last import EVER, Poured, last_shots
from stations.shots.models import ShotVerdict
from stations.shots.outside import ways_out
from stations.slots.models import Placement
from stations.slots.signed import NOT_AS_SIGNED, withhold
from stations.slots.then import Moment, condition_of, held, with_read
from web.printing import counted


@dataclass(frozen=True, slots=True)
class Held:
    """What a slot held at a moment: the placement, the version it is of, and its condition."""

    condition: str
    placement: Placement | None = None
    version: Version | None = None
    read: str = "unread"

    @property
    def title(self) -> str:
        """In the bar's words; empty where it held nothing."""
        return self.placement.settings.title if self.placement else ""

    @property
    def older(self) -> bool:
        """Whether its version is not the approved one any more."""
        return bool(self.version and self.version.state != Version.State.APPROVED)

    @property
    def to_load(self) -> bool:
        """Whether what is on permit was not read back either."""
        return self.condition == "on_permit" and self.read == "unread"


NOTHING = Held("empty")


@dataclass(frozen=True, slots=True)
class Cell:
    """One slot in the grid; ``before`` is what it held at the moment it is compared with.

    ``approved`` is the version of its recipe that may be published now, if there is one.
    """

    slot: Slot
    held: Held
    shots: Sequence[Poured] = ()
    before: Held | None = None
    approved: Version | None = None

    @property
    def out(self) -> int:
        """How many of its last shots were out of tolerance."""
        return sum(shot.out for shot in self.shots)

    @property
    def shots_in_words(self) -> str:
        """How its last shots stood against their tolerance; empty where none has one."""
        judged = [shot for shot in self.shots if shot.verdict != ShotVerdict.OPEN]
        if self.out:
            return f"{self.out} of {counted(len(judged), 'shot')} out"
        return f"{counted(len(judged), 'shot')} within" if judged else ""

    @property
    def ways(self) -> str:
        """In what they were, in words: yield too high."""
        found = {way for shot in self.shots for way in ways_out(shot.verdicts.items())}
        return ", ".join(sorted(found))

    def fits(self, asked: Asked) -> bool:
        """Whether it is one of those asked for; what is not as signed always is."""
        held, version = self.held, self.held.version
        if held.condition == NOT_AS_SIGNED:
            return True
        return (
            asked.state in ("", held.condition)
            and (asked.coffee is None or _coffee_of(version) == asked.coffee.pk)
            and (asked.recipe is None or (version and version.recipe_id) == asked.recipe.pk)
            and (asked.since is None or self.changed)
        )

    @property
    def changed(self) -> bool:
        """Whether it held something else before."""
        return self.before is not None and self._identity(self.before) != self._identity(self.held)

    @staticmethod
    def _identity(held: Held) -> int | None:
        return held.placement.pk if held.placement else None


def _coffee_of(version: Version | None) -> int | None:
    return version.recipe.coffee_id if version else None


def cells_of(slots: Sequence[Slot], asked: Asked) -> list[Cell]:
    """The cells of these slots, each read with its equipment."""
    rows = {slot.pk: slot for slot in slots}
    now = _placements(rows, asked.at)
    before = _placements(rows, asked.since) if asked.since else {}
    versions = _versions([*now.values(), *before.values()])
    until = asked.at or Moment(EVER)
    shots = last_shots({each.pk: _at(until, rows[slot]) for slot, each in now.items()})
    approved = _approved(versions)
    cells = []
    for slot in slots:
        holds = _held(now.get(slot.pk), versions)
        cells.append(
            Cell(
                slot,
                holds,
                shots.get(holds.placement.pk, ()) if holds.placement else (),
                _held(before.get(slot.pk), versions) if asked.since else None,
                approved.get(holds.version.recipe_id) if holds.version else None,
            )
        )
    return cells


def _approved(versions: Mapping[str, Version]) -> dict[int, Version]:
    """The approved version of each of their recipes."""
    recipes = {version.recipe_id for version in versions.values()}
    rows = Version.objects.approved().filter(recipe__in=recipes)
    return {version.recipe_id: version for version in rows}


def _at(moment: Moment, slot: Slot) -> datetime:
    return moment.at(slot.station.machine.site.time_zone)


def _placements(slots: Mapping[int, Slot], moment: Moment | None) -> dict[int, Any]:
    """What each slot held then, with its settings if they are as signed."""
    rows = with_read(held(moment, Placement.objects.filter(slot__in=slots)), moment)
    # A signature stands under many of them: read once, not once with each.
    found = list(
        rows.select_related("settings").prefetch_related("signature").order_by("started_at")
    )
    for each in found:
        each.slot = slots[each.slot_id]
    withhold(found)
    return {each.slot_id: each for each in found}


def _versions(placements: Sequence[Placement]) -> dict[str, Version]:
    """The signed versions that they are of, by their content."""
    contents = {each.settings.content_digest for each in placements} - {""}
    rows = Version.objects.select_related("recipe__coffee").signed_as(contents)
    return {version.content_digest: version for version in rows}


def _held(placement: Any, versions: Mapping[str, Version]) -> Held:  # noqa: ANN401
    if placement is None:
        return NOTHING
    condition = NOT_AS_SIGNED if placement.problem else condition_of(placement, placement.read)
    version = versions.get(placement.settings.content_digest)
    return Held(condition, placement, version, placement.read)
