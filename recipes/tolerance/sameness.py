"""Whether all bars pour one recipe: every bar of a person's at once, in one query and one test."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from people.persons.models import User
from people.persons.permissions import covered_sites
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from stations.metrology.equality import Bars, Judged, against_target
from stations.metrology.equivalence import Sample
from stations.metrology.errors import BadValueError
from web.numbers import rounded

RISK = 0.05
LISTED = 60  # bars; those that differ first
# What each shot is off its own target by, bar by bar: versions may have changed it meanwhile. The
# tolerance is the narrowest of them.
OFF = """
SELECT s.site_id, site.name, count(*), avg(s.{code} - h.target)::float8,
    coalesce(stddev_samp(s.{code} - h.target), 0)::float8, min(h.below), min(h.above)
FROM recipes_version v
JOIN stations_controlsettings c ON c.content_digest = v.content_digest
JOIN stations_placement p ON p.settings_id = c.id
JOIN stations_checkshot s ON s.placement_id = p.id
JOIN stations_site site ON site.id = s.site_id
CROSS JOIN LATERAL (SELECT (c.cup #>> '{{{code},target}}')::numeric AS target,
    (c.cup #>> '{{{code},below}}')::numeric AS below,
    (c.cup #>> '{{{code},above}}')::numeric AS above) AS h
WHERE v.recipe_id = %(recipe)s AND v.signature_id IS NOT NULL AND NOT s.left_out
    AND s.at >= %(since)s AND s.at < %(until)s AND s.{code} IS NOT NULL
    AND h.target IS NOT NULL AND h.below IS NOT NULL AND h.above IS NOT NULL
    AND (%(sites)s::bigint[] IS NULL OR s.site_id = ANY(%(sites)s))
GROUP BY s.site_id, site.name ORDER BY site.name
"""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar's shots, and what its test says; None where they can't be tested."""

    site_id: int
    name: str
    shots: int
    off: Decimal
    judged: Judged | None

    @property
    def conclusion(self) -> str:
        """In words."""
        return self.judged.conclusion if self.judged else "not shown yet"

    @property
    def low(self) -> Decimal | None:
        """The interval's lower end."""
        return rounded(self.judged.test.interval[0], 2) if self.judged else None

    @property
    def high(self) -> Decimal | None:
        """The interval's upper end."""
        return rounded(self.judged.test.interval[1], 2) if self.judged else None


@dataclass(frozen=True, slots=True)
class Same:
    """All bars of one recipe and value, with the margins they are held to."""

    bars: Sequence[Bar]
    below: Decimal
    above: Decimal

    def _who(self, conclusion: str) -> list[Bar]:
        return [bar for bar in self.bars if bar.conclusion == conclusion]

    @property
    def differing(self) -> list[Bar]:
        """Those that pour something else, the furthest off first."""
        return sorted(self._who("differs"), key=lambda bar: -abs(bar.off))

    @property
    def open(self) -> list[Bar]:
        """Those of which neither is shown."""
        return self._who("not shown yet")

    @property
    def listed(self) -> list[Bar]:
        """The lines of a table: nobody reads a thousand bars that pour what they should."""
        return [*self.differing, *self.open, *self.same][:LISTED]

    @property
    def same(self) -> list[Bar]:
        """Those that pour the recipe."""
        return self._who("pours the recipe")


def sameness(
    user: User, recipe: Recipe, code: str, since: datetime, until: datetime
) -> Same | None:
    """Every bar this person sees; None where no shot has both limits. ``code`` is a column."""
    covered = covered_sites(user, Verb.SLOT_VIEW)
    asked: dict[str, Any] = {
        "recipe": recipe.pk, "since": since, "until": until,
        "sites": None if covered is None else list(covered),
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(OFF.format(code=code), asked)
        rows = cursor.fetchall()
    if not rows:
        return None
    below, above = min(row[5] for row in rows), min(row[6] for row in rows)
    return Same(_judged(rows, below, above), below, above)


def _judged(rows: Sequence[Any], below: Decimal, above: Decimal) -> list[Bar]:
    tests = {}
    for site, _, count, mean, spread, *_ in rows:
        try:
            sample = Sample(count, mean, spread)
            tests[site] = against_target(sample, 0, below=below, above=above, risk=RISK)
        except BadValueError:
            continue  # a single shot, or shots that are all alike: nothing can be said of them
    judged = Bars(tests, RISK).judged
    return [
        Bar(site, name, count, rounded(mean, 2), judged.get(site))
        for site, name, count, mean, *_ in rows
    ]
