"""What came before a signed version of a recipe, and what changed since: for charts and fits."""

from collections.abc import Iterable
from decimal import Decimal

from django.db.models import prefetch_related_objects

from recipes.formula.formula import Formula
from recipes.formula.parameters import ENDED_BY, PARAMETERS
from recipes.versions.holding import said_at
from recipes.versions.models import Version
from stations.charts.lineage import Change, Earlier
from stations.equipment.models import Station
from stations.metrology.formula import BEVERAGE, SHOT_TIME, Stated


def earlier_contents(station: Station, content_digest: str) -> list[Earlier]:
    """The recipe's earlier signed versions, the newest first: what a station brewed before.

    Each as the station held it: by a variant for its type of machine, where it got that.
    """
    found = earlier_versions(content_digest)
    if not found:
        return []
    said = said_at(station, found)
    now, *before = (said[one.pk] for one in found)
    pairs = zip(found[1:], before, strict=True)
    return [_earlier(version, was, now) for version, was in pairs]


def earlier_versions(content_digest: str) -> list[Version]:
    """The signed version of that content and those before it, the newest first, with formulas.

    Three queries; one and nothing, where there is none before it.
    """
    own = Version.objects.signed_as([content_digest]).values("recipe")
    signed = Version.objects.filter(recipe__in=own, signature__isnull=False)
    found = list(signed.exclude(content_digest="").order_by("-number"))
    at = next((n for n, one in enumerate(found) if one.content_digest == content_digest), None)
    if at is None or not found[at + 1 :]:
        return []
    prefetch_related_objects(found[at:], "formula", "variant_values")
    return found[at:]


def _earlier(version: Version, was: Formula, now: Formula) -> Earlier:
    return Earlier(
        version.content_digest, f"version {version.number}", tuple(changes(was, now)),
        frozenset(_ends_at(was) | _ends_at(now)),
    )  # fmt: skip


def changes(was: Formula, now: Formula) -> Iterable[Change]:
    """Where two formulas state another target or text, in the registry's order."""
    for code in was | now:
        parameter = PARAMETERS.get(code)
        before, after = (_stated(side.of(code)) for side in (was, now))
        if before != after:
            label, unit = (parameter.label, parameter.unit) if parameter else (code, "")
            yield Change(code, label, unit, before, after)


def _stated(one: Stated) -> Decimal | str | None:
    return one.target if one.target is not None else one.text.strip() or None


def _ends_at(formula: Formula) -> set[str]:
    """The amounts at which it ends; those a barista aims at, where nothing else ends it."""
    if formula.leaves_water:
        return {BEVERAGE}
    code = ENDED_BY.get(formula.ends_by)
    return {BEVERAGE, SHOT_TIME} if code is None else {code}
