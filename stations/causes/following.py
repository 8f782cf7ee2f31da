"""One cause at one station, shot by shot: what is kept of it, and what it signals."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from statistics import median
from typing import Any

import numpy as np

from stations.causes.traces import Poured
from stations.metrology.causes import (
    TESTS,
    Cause,
    Curves,
    Signal,
    above_set,
    grind_columns,
    kept_by_meter,
    largest_drop,
    resistance,
)
from stations.metrology.self_starting import KEPT, Reference, Sums, follow, rank_score, score

POINTS = 60  # of a chart
NEWEST = 20  # shots by which a change is measured; our choice
TO_CLEAR = 20  # shots after a finding was acknowledged; our choice
ANCHORED = 60  # first shots whose level a change is measured from; our choice
SUMS = ("high", "low", "high_shots", "low_shots")
REFERENCES = 40  # recipes, grinders and marks at a station of which something is kept


@dataclass(frozen=True, slots=True)
class Measured:
    """What a cause's measure says of a shot: among which others, by which columns."""

    among: str
    columns: tuple[float, ...]
    value: float


def measured(cause: Cause, poured: Poured) -> Measured | None:
    """Return the figure of a shot; None where it has none, as without a trace."""
    curves = Curves.of(poured.trace)
    value, among = _figure(cause, poured, curves), poured.content
    columns: tuple[float, ...] = (1.0,)
    if cause is Cause.GRIND:
        columns = grind_columns(poured.dose, poured.age)
        among = f"{poured.content}:{poured.grinder}:{poured.mark}:{poured.age is None}"
    return None if value is None or not np.isfinite(value) else Measured(among, columns, value)


def _figure(cause: Cause, poured: Poured, curves: Curves) -> float | None:
    if cause is Cause.METER:
        return kept_by_meter(poured.water or 0.0, poured.beverage, poured.dose)
    if cause is Cause.PROBE:
        if poured.set_to is None:
            return None
        return above_set(curves.temperature, poured.temperature, poured.set_to)
    return resistance(curves) if cause is Cause.GRIND else largest_drop(curves)


@dataclass
class Following:
    """What is kept of a cause at a station.

    ``references`` by what a shot is compared among, ``ranks`` likewise. Each goes on learning: that
    keeps the false-alarm rate exact, and takes a slow drift for what is usual in the end. So how
    much changed is measured from ``anchors``, the level of the first shots. ``changes`` are those
    of the newest shots, ``after`` those since an acknowledgement, ``points`` (moment, value,
    score, upward sum, downward sum).
    """

    references: dict[str, Reference] = field(default_factory=dict)
    ranks: dict[str, list[float]] = field(default_factory=dict)
    anchors: dict[str, float] = field(default_factory=dict)
    sums: Sums = field(default_factory=Sums)
    changes: list[float] = field(default_factory=list)
    after: list[float] = field(default_factory=list)
    points: list[list[Any]] = field(default_factory=list)

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "Following":
        """As it was kept."""
        references = {
            among: Reference(
                tuple(tuple(line) for line in one["gram"]), tuple(one["moment"]), one["square"],
                one["free"], one["count"],
            )
            for among, one in kept.get("references", {}).items()
        }  # fmt: skip
        return cls(
            references, dict(kept.get("ranks", {})), dict(kept.get("anchors", {})),
            Sums(*(kept.get("sums", {}).get(name, 0) for name in SUMS)),
            list(kept.get("changes", [])), list(kept.get("after", [])),
            list(kept.get("points", [])),
        )  # fmt: skip

    def kept(self) -> dict[str, Any]:
        """To be kept."""
        return {
            "references": {among: asdict(one) for among, one in self.references.items()},
            "ranks": self.ranks, "anchors": self.anchors, "sums": asdict(self.sums),
            "changes": self.changes,
            "after": self.after,
            "points": self.points,
        }  # fmt: skip

    def take(
        self, cause: Cause, poured: Poured, *, open_since: datetime | None, lasts: bool
    ) -> bool:
        """Take a shot on; whether it gave a score.

        While a finding ``lasts`` nothing is learnt, or what is wrong would become what is usual;
        ``open_since`` is when it was acknowledged.
        """
        told = measured(cause, poured)
        if told is None:
            return False
        residual, scored = self._scored(cause, told, learns=not lasts)
        if residual is None or scored is None:
            return False
        if lasts:
            if open_since and poured.at > open_since:
                self.after = [*self.after, residual][-TO_CLEAR:]
        else:
            self.sums = follow(self.sums, scored)
            self.changes = [*self.changes, residual][-NEWEST:]
        point = [
            poured.at.isoformat(), round(told.value, 6), round(scored, 4),
            round(self.sums.high, 4), round(self.sums.low, 4),
        ]  # fmt: skip
        self.points = [*self.points, point][-POINTS:]
        return True

    def _scored(
        self, cause: Cause, told: Measured, *, learns: bool
    ) -> tuple[float | None, float | None]:
        if TESTS[cause].ranks:
            before = self.ranks.get(told.among, [])
            scored = rank_score(before, told.value)
            if learns:
                self.ranks[told.among] = [*before, told.value][-KEPT:]
                _newest_only(self.ranks, told.among)
            return (told.value - self._level(told, median(before)) if before else None), scored
        reference = self.references.get(told.among)
        if reference is None or len(reference.moment) != len(told.columns):
            reference = Reference.of(len(told.columns))
        found = score(reference, told.columns, told.value)
        if learns:
            self.references[told.among] = found.after
            _newest_only(self.references, told.among)
        if len(told.columns) > 1 or found.residual is None:
            return found.residual, found.score
        return told.value - self._level(told, told.value - found.residual), found.score

    def _level(self, told: Measured, learnt: float) -> float:
        """The level of the first shots; until there are so many, what was learnt so far."""
        reference = self.references.get(told.among)
        many = reference.count if reference else len(self.ranks.get(told.among, ()))
        if told.among not in self.anchors and many >= ANCHORED:
            self.anchors[told.among] = learnt
            _newest_only(self.anchors, told.among)
        return self.anchors.get(told.among, learnt)

    def signal(self, cause: Cause) -> Signal | None:
        """What the sums say now."""
        return TESTS[cause].signal(self.sums, self.changes)

    def back(self, size: float) -> bool:
        """Whether enough shots since it was acknowledged lie nearer to how it was before."""
        return len(self.after) >= TO_CLEAR and abs(_mean(self.after)) <= abs(size) / 2.0

    def go_on(self) -> None:
        """As before the finding: what was learnt stays, the sums begin anew."""
        self.sums, self.after, self.changes = Sums(), [], []


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _newest_only(kept: dict[str, Any], among: str) -> None:
    """What was poured of late stands last, and the oldest goes where there are too many."""
    kept[among] = kept.pop(among)
    while len(kept) > REFERENCES:
        del kept[next(iter(kept))]
