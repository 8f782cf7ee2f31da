"""Where shots are out of tolerance now, site by site and in words."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from stations.shots.judging import LABELS
from web.printing import counted


@dataclass
class OutsideAt:
    """One site: the slots whose last shot was out of tolerance, and in what."""

    site_id: int
    site: str
    slots: list[int] = field(default_factory=list)
    ways: set[str] = field(default_factory=set)

    @property
    def words(self) -> str:
        """As a line of a list."""
        return f"{counted(len(self.slots), 'slot')}: {', '.join(sorted(self.ways))}"


def outside_by_site(shots: Any) -> list[OutsideAt]:  # noqa: ANN401
    """Of these shots, the sites where some are out now, most slots first: one query."""
    found: dict[int, OutsideAt] = {}
    rows = shots.outside_now().order_by("slot")
    for site, name, slot, verdicts in rows.values_list("site", "site__name", "slot", "verdicts"):
        at = found.setdefault(site, OutsideAt(site, name))
        at.slots.append(slot)
        at.ways.update(ways_out(verdicts.items()))
    return sorted(found.values(), key=lambda at: (-len(at.slots), at.site))


def ways_out(verdicts: Iterable[tuple[str, str]]) -> list[str]:
    """In what it is out, in words: yield too high."""
    return [
        f"{name_of(code)} too {way}"
        for code, way in verdicts
        if way in ("low", "high") and code in LABELS
    ]


def name_of(code: str) -> str:
    """A measured value within a sentence."""
    label = LABELS[code]
    return label if label.isupper() else label.lower()
