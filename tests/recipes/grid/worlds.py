"""Random worlds: what was done at some slots, and a replay of it in plain Python.

The replay knows only what was done and in which order: between two doings lies an instant of the
database's clock, and what was done counts from just after the instant before it.
"""

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection

from audit.errors import Refused
from recipes.permits.actions import end
from recipes.permits.models import Permit
from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Slot
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.by_hand import place_by_hand
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import Bar
from tests.recipes.permits.test_permits import permit

SHOT = Weighed(Decimal("18.0"), Decimal("36.0"), Decimal(28))
TICK = timedelta(microseconds=1)
HAND = {"brew_temperature": {"value": "90.0", "unit": "Cel"}}


def clock() -> datetime:
    """The database's own."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        at: datetime = cursor.fetchone()[0]
    return at


@dataclass(frozen=True)
class Stands:
    """What the replay says of one slot at an instant."""

    placement: int | None
    condition: str
    shots: tuple[tuple[int, bool], ...] = ()  # newest first: which, and whether it was out


@dataclass
class World:
    """Everything that was done, each with the moment from which it counts."""

    bar: Bar
    send: Callable[..., Publication]
    chance: random.Random
    instants: list[datetime] = field(default_factory=list)
    based: list[tuple[datetime, int, int, bool]] = field(default_factory=list)  # slot, which, hand
    stepped: list[tuple[datetime, int, int]] = field(default_factory=list)
    given_back: list[tuple[datetime, int]] = field(default_factory=list)
    reads: list[tuple[datetime, int, str]] = field(default_factory=list)  # placement, verdict
    shots: list[tuple[datetime, int, int, bool]] = field(default_factory=list)
    corrected: list[tuple[datetime, int, bool, bool]] = field(default_factory=list)  # out, left out
    permits: dict[int, Permit] = field(default_factory=dict)  # by slot

    def live(self, doings: int) -> None:
        """Do so many things at random, and look at the clock between them."""
        self.instants.append(clock())
        todo = (self.publish, self.by_hand, self.step_in, self.step_back, self.read, self.pour,
                self.pour, self.correct)  # fmt: skip
        for _ in range(doings):
            self.chance.choice(todo)()
            self.instants.append(clock())

    @property
    def since(self) -> datetime:
        """From when what is done now counts."""
        return self.instants[-1] + TICK

    def slot(self) -> Slot:
        """One of them."""
        return self.chance.choice(self.bar.slots)

    def now(self, slot: Slot) -> Placement | None:
        """What is in force there, by the database."""
        rows = Placement.objects.in_force().filter(slot=slot).select_related("settings")
        return rows.first()

    def publish(self) -> None:
        """The recipe to a slot of one station, or to all of its slots; to none that hold it."""
        slot = self.slot()
        numbers = (slot.number,) if self.chance.random() < 0.7 else ()
        with suppress(Refused):
            run.run(self.send(scope=Scope(Where.STATIONS, (slot.station_id,), numbers)).pk)
        for each in Slot.objects.filter(station=slot.station_id):
            held = self.now(each)
            if held and held.manner == "takes_over" and not self._known(held):
                self.based.append((self.since, each.pk, held.pk, False))
                self.permits.pop(each.pk, None)

    def _known(self, placement: Placement) -> bool:
        return any(pk == placement.pk for _, _, pk, _ in self.based)

    def by_hand(self) -> None:
        """Where nothing is signed."""
        slot = self.slot()
        held = self.now(slot)
        if held is None or held.manner == "by_hand":
            made = place_by_hand(slot=slot, values=HAND, by=self.bar.cast.head_roaster)
            self.based.append((self.since, slot.pk, made.pk, True))

    def step_in(self) -> None:
        """A permit, where what is published is in force."""
        slot = self.slot()
        held = self.now(slot)
        if held and held.manner == "takes_over":
            self.permits[slot.pk] = permit([slot], self.bar.cast.head_roaster)
            above = self.now(slot)
            assert above
            self.stepped.append((self.since, slot.pk, above.pk))

    def step_back(self) -> None:
        """One permit ends."""
        if self.permits:
            slot = self.chance.choice(list(self.permits))
            made = self.permits.pop(slot)
            made.refresh_from_db()
            end(by=self.bar.cast.head_roaster, permit=made, revision=made.revision, reason="Done")
            self.given_back.append((self.since, slot))

    def read(self) -> None:
        """As it should be or not, now or noted without a line at some moment since it began."""
        slot = self.slot()
        held = self.now(slot)
        if held is None or held.manner == "by_hand":
            return
        found = {code: each["value"] for code, each in held.settings.values.items()}
        if self.chance.random() < 0.4:
            found["brew_temperature"] = "88.8"
        late = self.chance.random() < 0.3
        made = self.chance.choice(self._instants_of(held.pk)) if late else None
        who = self.bar.cast.head_roaster
        told = read_back(by=who, slot=slot, seen_placement=held.pk, found=found, made_at=made)
        self.reads.append((made or self.since, held.pk, told.verdict))

    def _instants_of(self, placement: int) -> list[datetime]:
        """Since it came into force, for the first time."""
        began = [each[0] for each in self.based if each[2] == placement]
        began += [each[0] for each in self.stepped if each[2] == placement]
        return [at for at in self.instants if at > max(began)] or [self.instants[-1]]

    def pour(self) -> None:
        """Within tolerance or not."""
        slot = self.slot()
        held = self.now(slot)
        if held:
            yields = self.chance.choice(["36.0", "41.5"])
            shot = replace(SHOT, beverage_mass=Decimal(yields))
            made = log_shot(by=self.bar.cast.head_roaster, slot=slot, shot=shot)
            self.shots.append((self.since, held.pk, made.pk, made.verdict == "outside"))

    def correct(self) -> None:
        """One shot was something else, or is to be left out."""
        if not self.shots:
            return
        pk = self.chance.choice(self.shots)[2]
        shot = CheckShot.objects.select_related("slot").get(pk=pk)
        yields = Decimal("41.5") if shot.beverage_mass < 40 else Decimal("36.0")
        to = replace(SHOT, beverage_mass=yields, left_out=self.chance.random() < 0.3)
        made = correct_shot(
            by=self.bar.cast.head_roaster, shot=shot, seen_corrections=shot.corrections, to=to,
            reason="Wrong cup",
        )  # fmt: skip
        self.corrected.append((self.since, pk, made.verdict == "outside", made.left_out))

    # The replay.

    def stands(self, at: datetime) -> dict[int, Stands]:
        """Every slot at that instant."""
        return {slot.pk: self._stands(slot.pk, at) for slot in self.bar.slots}

    def _stands(self, slot: int, at: datetime) -> Stands:
        base = _last(each for each in self.based if each[1] == slot and each[0] <= at)
        above = _last(each for each in self.stepped if each[1] == slot and each[0] <= at)
        back = _last(each for each in self.given_back if each[1] == slot and each[0] <= at)
        if base is None:
            return Stands(None, "empty")
        on_permit = above is not None and above[0] > base[0] and not (back and back[0] > above[0])
        placement = above[2] if above and on_permit else base[2]
        again = datetime.min.replace(tzinfo=at.tzinfo) if back is None or on_permit else back[0]
        read = self._read(placement, at, again)
        if read == "differs":
            condition = "differs"
        elif on_permit:
            condition = "on_permit"
        elif base[3]:
            condition = "by_hand"
        else:
            condition = "to_load" if read == "unread" else "matches"
        return Stands(placement, condition, self._shots(placement, at))

    def _read(self, placement: int, at: datetime, since: datetime) -> str:
        told = [each for each in self.reads if each[1] == placement and since < each[0] <= at]
        verdict: str = _last(told)[2] if told else "unread"  # of two at one moment the later said
        return verdict

    def _shots(self, placement: int, at: datetime) -> tuple[tuple[int, bool], ...]:
        found = []
        for poured, of, pk, first in self.shots:
            later = _last(each for each in self.corrected if each[1] == pk and each[0] <= at)
            out, left_out = (later[2], later[3]) if later else (first, False)
            if of == placement and poured <= at and not left_out:
                found.append((pk, out))
        return tuple(reversed(found))[:5]


def _last(events: Any) -> Any:  # noqa: ANN401
    """The latest, of those done at one moment the one done last."""
    found = None
    for each in events:
        if found is None or each[0] >= found[0]:
            found = each
    return found
