"""What a first look should find: a chart kept as evidence, a permit that is over, a file taken in."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from recipes.demo.people import Cast
from recipes.exchange.actions import import_recipes
from recipes.exchange.reading import read_json
from recipes.permits.actions import grant
from recipes.permits.plan import make_permit_plan
from recipes.requests.evidence import Attached
from recipes.versions.models import Version
from stations.charts.charting import RULES, charts_of
from stations.charts.keeping import digest_of, figures_of, keep_chart
from stations.equipment.models import Slot, Station
from stations.shots.models import CheckShot

GUEST = Path(__file__).with_name("guest_recipe.json")
RULE, CHARTED = "nelson", "shot_time"
SHOTS = 3  # the newest, attached beside the chart


def take_in(cast: Cast) -> None:
    """A guest coffee's recipe as its roastery sent it: a file, and by it a draft."""
    import_recipes(by=cast["head_roaster"], recipes=read_json(GUEST.read_bytes()))


def measured(cast: Cast, station: Station, version: Version) -> Attached:
    """The chart of a station's times, kept as it stands, and its newest shots."""
    found = charts_of(station, version.content_digest, CHARTED, RULES[RULE])
    assert found, "it has poured enough"
    kept = keep_chart(
        by=cast["lead_harbour"], station=station, content_digest=version.content_digest,
        code=CHARTED, rules=RULE, seen=digest_of(figures_of(found, RULE)),
    )  # fmt: skip
    shots = CheckShot.objects.filter(slot__station=station, left_out=False).order_by("-at")
    newest = shots.values_list("pk", flat=True)[:SHOTS]
    return Attached.of(shots=newest, charts=[kept.pk])


def permit(cast: Cast, slot: Slot, days: int, changes: dict[str, Decimal], reason: str) -> None:
    """One slot, other values, until so many days from now."""
    by, ids, ends_at = cast["head_roaster"], (slot.pk,), datetime.now(UTC) + timedelta(days=days)
    plan = make_permit_plan(slots=ids, changes={**changes}, ends_at=ends_at, by=by)
    grant(
        by=by, slots=ids, changes={**changes}, ends_at=ends_at, seen=plan.digest, reason=reason,
        credentials=cast.signs("head_roaster"), acknowledged=True,
    )  # fmt: skip
