"""A lane for the versions and one for each site: spans with their value, permits told apart."""

import base64
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from audit.axes import time_marks
from people.printing import number, unit_label
from people.web.drawing import Drawing
from recipes.overtime.spans import OverTime

LANES = 40  # sites that are drawn; the table has all
NAMED = 0.16  # of the whole width: a span as long has room for its words
VERSIONS = "Versions"


def over_time_drawing(found: OverTime) -> Drawing:
    """The picture, drawn anew: it moves with the clock."""
    from recipes.overtime.lanes import svg_of  # noqa: PLC0415 - loads what draws, at first use

    first = min([one.since for one in found.said] + [one.since for one in found.held])
    spans = [*_versions(found), *_sites(found)]
    room = (found.now - first).total_seconds() * NAMED
    for span in spans:
        span["words"] = span["value"] if _seconds(span) >= room else ""
    lanes = [VERSIONS, *found.sites[:LANES]]
    svg = svg_of(spans, lanes, time_marks(first, found.now), (first, found.now))
    return Drawing("data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode(),
                   _told(found))  # fmt: skip


def value_words(found: OverTime, value: object) -> str:
    """The value with its unit, as print has it."""
    if value is None:
        return "not set"
    words = number(value)
    return f"{words} {unit_label(found.parameter.unit)}".rstrip()


def _versions(found: OverTime) -> Iterator[dict[str, Any]]:
    ends = [one.since for one in found.said[1:]] + [found.now]
    for said, until in zip(found.said, ends, strict=True):
        words = f"v{said.version.number}: {value_words(found, said.value)}"
        yield {"lane": VERSIONS, "since": said.since, "until": until, "value": words,
               "kind": "approved"}  # fmt: skip


def _sites(found: OverTime) -> Iterator[dict[str, Any]]:
    drawn = set(found.sites[:LANES])
    for held in found.held:
        if held.site in drawn:
            kind = "on permit" if held.on_permit else "in force"
            yield {"lane": held.site, "since": held.since, "until": held.until or found.now,
                   "value": value_words(found, held.value), "kind": kind}  # fmt: skip


def _seconds(span: Mapping[str, Any]) -> float:
    since: datetime = span["since"]
    until: datetime = span["until"]
    return (until - since).total_seconds()


def _told(found: OverTime) -> str:
    said: Sequence[str] = [value_words(found, one.value) for one in found.said]
    permits = {one.basis_id for one in found.held if one.on_permit}
    many = len(found.sites)
    words = (
        f"{found.parameter.label} in {len(said)} version{'' if len(said) == 1 else 's'}, "
        f"from {said[0]} to {said[-1]}; held at {many} site{'' if many == 1 else 's'}"
    )
    return f"{words}, {len(permits)} permit{'' if len(permits) == 1 else 's'}. Times in UTC."
