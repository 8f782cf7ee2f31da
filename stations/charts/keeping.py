"""Keeping a control chart as it stands, so that what was seen can be shown later."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import rfc8785

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.charts.charting import CHARTED, RULES, Charts, charts_of
from stations.charts.lineage import contents_of
from stations.charts.models import KeptChart
from stations.equipment.models import Station
from stations.metrology import charts
from stations.metrology.charts import Baseline
from stations.metrology.run_rules import MEANING, RunRule
from stations.shots.judging import BOUNDS
from stations.shots.models import CheckShot
from web.numbers import rounded

CHART_KEPT = register("chart.kept", "Kept control chart as evidence")

PLACES = 6  # of limits, as of a frozen baseline
Figures = dict[str, Any]


def keep_chart(
    *, by: User, station: Station, content_digest: str, code: str, rules: str, seen: str
) -> KeptChart:
    """Keep the chart whose figures have the digest ``seen``; again, it is the one kept before.

    Raises NotPermitted, Invalid for what is not charted or was never brewed there, Refused where
    there are too few shots, and Stale where shots or limits are others by now.
    """
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(by=by, action=CHART_KEPT, subject=subject, site_id=site_id):
        require(by, Verb.REQUEST_MAKE, site_id, subject)
        contents = contents_of(station)
        if code not in CHARTED:
            raise Invalid("value", code, f"one of {', '.join(CHARTED)}")
        if rules not in RULES:
            raise Invalid("rules", rules, f"one of {', '.join(RULES)}")
        if content_digest not in contents:
            raise Invalid("content", content_digest, "the digest of what was brewed there")
        found = charts_of(station, content_digest, code, RULES[rules])
        if found is None:
            raise Refused("There are too few shots to chart.", how_to_ask="Log check shots first.")
        figures = figures_of(found, rules)
        if digest_of(figures) != seen:
            raise Stale("The chart has moved since you looked at it: look again, then keep it.", 0)
        # One that was kept as it stands is the same evidence, whoever keeps it again.
        return KeptChart.objects.get_or_create(
            station=station, figures_digest=seen,
            defaults={
                "site_id": site_id, "content_digest": content_digest, "code": code,
                "title": contents[content_digest][:200], "figures": figures, "by": by,
            },
        )[0]  # fmt: skip


def figures_of(found: Charts, rules: str) -> Figures:
    """What a chart shows, as codes and exact numbers: sentences are made when it is read."""
    baseline, frozen, limits = found.baseline, found.frozen, found.individuals
    shots = zip(found.shots, found.values, strict=True)
    return {
        "value": found.code,
        "unit": BOUNDS[found.code].unit,
        "rules": rules,
        "baseline": frozen.pk if frozen else None,
        "from_shots": baseline.count,
        "centre": _text(baseline.centre),
        "spread": _text(baseline.sigma),
        "lower": _text(float(limits.lower[-1])),
        "upper": _text(float(limits.upper[-1])),
        "shots": [
            [shot.pk, shot.at.isoformat(), f"{value:f}",
             sorted({one.rule for one in found.signals_at.get(at, ())})]
            for at, (shot, value) in enumerate(shots, start=1)
        ],
    }  # fmt: skip


def digest_of(figures: Figures) -> str:
    """What somebody saw, in 64 hexadecimal digits (SHA-256 over RFC 8785)."""
    return hashlib.sha256(rfc8785.dumps(figures)).hexdigest()


def _text(value: float) -> str:
    return f"{rounded(value, PLACES):f}"


# What is read of it later.

BESIDE_RULES = {"EWMA": "weighted mean beyond its limit", "CUSUM": "summed distance beyond"}


@dataclass(frozen=True, slots=True)
class KeptShot:
    """One shot as it was charted, what signalled there, and what it is corrected to since."""

    shot: CheckShot | None
    number: int
    value: Decimal
    signals: Sequence[str]
    now: Decimal | None


def kept_shots(kept: KeptChart) -> list[KeptShot]:
    """The shots it was kept with, the newest first: two queries at most."""
    rows = kept.figures["shots"]
    stored = CheckShot.objects.select_related("by", "gateway").in_bulk([row[0] for row in rows])
    lines = [
        KeptShot(
            shot := stored.get(pk), number, Decimal(value), [meaning(rule) for rule in rules],
            _corrected(shot, kept.code, Decimal(value)),
        )
        for number, (pk, _, value, rules) in enumerate(rows, start=1)
    ]  # fmt: skip
    return lines[::-1]


def meaning(rule: str) -> str:
    """A rule as a cell of a table: its name and what it means."""
    known: Mapping[str, str] = {**{str(name): MEANING[name] for name in RunRule}, **BESIDE_RULES}
    return f"{rule}: {known.get(rule, 'unknown')}"


def _corrected(shot: CheckShot | None, code: str, value: Decimal) -> Decimal | None:
    """What the shot says by now, where that is something else."""
    now: Decimal | None = getattr(shot, code) if shot else None
    return now if now is not None and now != value else None


def signalling(kept: KeptChart) -> int:
    """How many of its shots signalled."""
    return sum(bool(row[3]) for row in kept.figures["shots"])


def individuals_of(kept: KeptChart) -> tuple[list[Decimal], charts.Chart]:
    """The values and their chart, drawn anew from what was kept."""
    figures = kept.figures
    values = [Decimal(row[2]) for row in figures["shots"]]
    sigma = float(figures["spread"])
    frozen = Baseline(
        float(figures["centre"]), sigma, figures["from_shots"], sigma * charts.D2_OF_TWO
    )
    return values, charts.individuals_chart(values, frozen)
