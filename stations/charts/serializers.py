"""Control charts, capability and two stations beside each other, as the API asks and answers."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from stations.charts.actions import FEWEST, REASON
from stations.charts.charting import CHARTED, RULES, Charts
from stations.charts.comparing import MARGIN, USUAL_MARGIN, Sameness
from stations.charts.lineage import SHOWN
from stations.charts.models import ChartBaseline
from stations.equipment.serializers import IdField
from stations.metrology.capability import Capability
from stations.metrology.charts import Chart
from web.fields import PlainDecimal
from web.numbers import rounded

DIGEST = 64  # characters of a content's digest
CONTENT = "content_digest of a version; the one brewed last where it is left out"


class ShotsQuery(serializers.Serializer[dict[str, Any]]):
    """Which shots, and which of their values."""

    content = serializers.CharField(max_length=DIGEST, required=False, help_text=CONTENT)
    value = serializers.ChoiceField(choices=CHARTED, default=CHARTED[0])


class ChartQuery(ShotsQuery):
    """The same, and the run rules."""

    rules = serializers.ChoiceField(choices=list(RULES), default="nelson")


class EquivalenceQuery(ShotsQuery):
    """The same, the other station, and how far apart still counts as the same."""

    beside = IdField()
    margin = PlainDecimal(bounds=MARGIN, default=USUAL_MARGIN)


class BaselineIn(serializers.Serializer[dict[str, Any]]):
    """A baseline to freeze, and why: from the newest shots, all that are charted if no number."""

    content = serializers.CharField(max_length=DIGEST)
    value = serializers.ChoiceField(choices=CHARTED)
    reason = serializers.CharField(max_length=REASON)
    newest = serializers.IntegerField(
        min_value=FEWEST, max_value=SHOWN, allow_null=True, default=None
    )


class BaselineOut(serializers.ModelSerializer[ChartBaseline]):
    """A frozen baseline; centre and spread (one standard deviation) in the value's unit."""

    content = serializers.CharField(source="content_digest")
    value = serializers.CharField(source="code")
    centre = PlainDecimal()
    spread = PlainDecimal()
    by = serializers.CharField(source="by.name")

    class Meta:
        """What is shown."""

        model = ChartBaseline
        fields = ["id", "station", "content", "value", "centre", "spread", "shots", "reason",
                  "by", "at"]  # fmt: skip


class SignalOut(serializers.Serializer[Any]):
    """A rule that a shot meets."""

    rule = serializers.CharField()
    meaning = serializers.CharField()


class PointOut(serializers.Serializer[Any]):
    """A shot and what each chart plots; `range` null for the first, and after one left out."""

    shot = serializers.IntegerField(source="shot.pk")
    at = serializers.DateTimeField(source="shot.at")
    value = PlainDecimal()
    range = PlainDecimal(allow_null=True)
    ewma = PlainDecimal()
    cusum_above = PlainDecimal(source="above")
    cusum_below = PlainDecimal(source="below")
    signals = SignalOut(many=True)


class LimitsOut(serializers.Serializer[Any]):
    """A chart's centre and limits."""

    centre = PlainDecimal()
    lower = PlainDecimal()
    upper = PlainDecimal()


class LimitsFromOut(serializers.Serializer[Any]):
    """What limits are drawn from; `frozen` null: the first shots, as none is frozen."""

    centre = PlainDecimal()
    spread = PlainDecimal()
    shots = serializers.IntegerField()
    provisional = serializers.BooleanField(help_text="fewer than 20 shots: limits are rough")
    frozen = BaselineOut(allow_null=True)


class ContentOut(serializers.Serializer[Any]):
    """A signed content that was brewed at the station."""

    content = serializers.CharField()
    title = serializers.CharField()


class ShotsOut(serializers.Serializer[Any]):
    """Which shots are spoken of; `contents` is what was brewed there, the newest first."""

    station = serializers.IntegerField()
    content = serializers.CharField(allow_blank=True)
    value = serializers.CharField()
    unit = serializers.CharField()
    contents = ContentOut(many=True)


class ChartedOut(serializers.Serializer[Any]):
    """Four charts of the newest shots: `points` newest first, up to 200."""

    limits_from = LimitsFromOut()
    individuals = LimitsOut()
    moving_range = LimitsOut(allow_null=True)
    ewma = LimitsOut()
    cusum_interval = PlainDecimal(help_text="a sum above it signals")
    signalling = serializers.IntegerField()
    gaps = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="positions, from 1 the oldest, before which a shot was left out: no moving"
        " range bridges one",
    )
    points = PointOut(many=True)


class ChartOut(ShotsOut):
    """`charts` null: fewer than two shots, or none that differ."""

    rules = serializers.CharField()
    carried_over = serializers.ListField(
        child=serializers.CharField(),
        help_text="contents of earlier versions whose shots and baseline count: what the value"
        " rests on is unchanged",
    )
    anew = serializers.CharField(
        allow_blank=True, help_text="why nothing older counts, such as another dose"
    )
    charts = ChartedOut(allow_null=True)
    seen = serializers.CharField(
        allow_blank=True, help_text="Digest of the figures: what a kept chart is kept by."
    )


class IntervalOut(serializers.Serializer[Any]):
    """From and to."""

    low = PlainDecimal()
    high = PlainDecimal()


class CapabilityOut(serializers.Serializer[Any]):
    """Cp and Cpk with their intervals; `cp` null for a tolerance on one side."""

    count = serializers.IntegerField()
    mean = PlainDecimal()
    spread = PlainDecimal()
    cp = PlainDecimal(allow_null=True)
    cp_interval = IntervalOut(allow_null=True)
    cpk = PlainDecimal()
    cpk_interval = IntervalOut()
    goal = PlainDecimal()
    confidence = PlainDecimal()
    conclusion = serializers.CharField(help_text="capable, not capable or not known yet")
    shots_needed = serializers.IntegerField(allow_null=True)
    sentence = serializers.CharField()


class CapableOut(ShotsOut):
    """`capability` null: the recipe states no tolerance for it, or the shots do not differ."""

    lower = PlainDecimal(allow_null=True)
    upper = PlainDecimal(allow_null=True)
    capability = CapabilityOut(allow_null=True)


class EquivalenceOut(serializers.Serializer[Any]):
    """Two one-sided Welch tests: this station's mean less the other's, with a 90 % interval."""

    mean = PlainDecimal()
    mean_beside = PlainDecimal()
    difference = PlainDecimal()
    interval = IntervalOut()
    degrees_of_freedom = PlainDecimal()
    p_value = PlainDecimal()
    conclusion = serializers.CharField(help_text="equivalent, different or not shown yet")
    shots_needed = serializers.IntegerField(
        allow_null=True, help_text="at each, if they truly pour alike; null where it is settled"
    )


class BesideOut(ShotsOut):
    """`equivalence` null: fewer than two shots at either, or none that differ."""

    beside = serializers.IntegerField()
    shots = serializers.IntegerField()
    shots_beside = serializers.IntegerField()
    margin = PlainDecimal()
    equivalence = EquivalenceOut(allow_null=True)


# Computed figures as exact decimals, for the API: rounded once, half-up.

PLACES = 6


def _six(value: float) -> Decimal:
    return rounded(value, PLACES)


def _interval(ends: tuple[float, float] | None) -> dict[str, Decimal] | None:
    return None if ends is None else {"low": _six(ends[0]), "high": _six(ends[1])}


def charted(charts: Charts) -> dict[str, Any]:
    """The four charts."""
    baseline = charts.baseline
    return {
        "limits_from": {
            "centre": _six(baseline.centre),
            "spread": _six(baseline.sigma),
            "shots": baseline.count,
            "provisional": baseline.provisional,
            "frozen": charts.frozen,
        },
        "individuals": _limits(charts.individuals),
        "moving_range": charts.ranges and _limits(charts.ranges),
        "ewma": _limits(charts.ewma),
        "cusum_interval": _six(charts.cusum.decision),
        "signalling": charts.signalling,
        "gaps": sorted(charts.gaps),
        "points": charts.lines,
    }


def _limits(chart: Chart) -> dict[str, Decimal]:
    ends = {"lower": chart.lower[-1], "upper": chart.upper[-1], "centre": chart.centre}
    return {name: _six(float(value)) for name, value in ends.items()}


def capable(capability: Capability) -> dict[str, Any]:
    """Capability."""
    return {
        "count": capability.count,
        "mean": _six(capability.mean),
        "spread": _six(capability.spread),
        "cp": None if capability.cp is None else _six(capability.cp),
        "cp_interval": _interval(capability.cp_interval),
        "cpk": _six(capability.cpk),
        "cpk_interval": _interval(capability.cpk_interval),
        "goal": rounded(capability.goal, 2),
        "confidence": rounded(capability.confidence, 2),
        "conclusion": capability.conclusion,
        "shots_needed": capability.shots_needed,
        "sentence": capability.sentence,
    }


def compared(same: Sameness) -> dict[str, Any]:
    """Two stations."""
    here, there = same.means
    return {
        "mean": here,
        "mean_beside": there,
        "difference": _six(same.result.difference),
        "interval": _interval(same.result.interval),
        "degrees_of_freedom": rounded(same.result.dof, 2),
        "p_value": _six(same.result.p_value),
        "conclusion": same.result.conclusion,
        "shots_needed": same.shots_needed,
    }
