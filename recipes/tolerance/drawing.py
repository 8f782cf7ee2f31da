"""A group's shots as dots inside their band."""

from recipes.tolerance.week import Dot, Group, Span
from stations.shots.judging import BOUNDS, LABELS
from web.charts import Band, Curve, Drawing, Level, Measure, Panel, drawing, measure_of
from web.printing import counted, day, quantity

HEIGHT = 130


def group_drawing(group: Group, span: Span, code: str) -> Drawing:
    """Its dots by day, those out ringed, with the band that each was held to."""
    measure = measure_of(BOUNDS[code].unit)
    points = tuple((dot.day, measure.at(float(dot.value))) for dot in group.dots)
    curve = Curve(
        LABELS[code], tuple(x for x, _ in points), tuple(y for _, y in points),
        dots=True, joined=False,
    )  # fmt: skip
    marked = tuple(at for at, dot in zip(points, group.dots, strict=True) if dot.out)
    panel = Panel(
        f"{LABELS[code]} / {measure.unit}", f"days since {day(span.first)}", (curve,),
        (Level(measure.at(float(group.dots[-1].target)), "target"),), marked,
        height=HEIGHT, bands=_bands(group.dots, span, measure),
    )  # fmt: skip
    return drawing([panel], _words(group, code))


def _bands(dots: list[Dot], span: Span, measure: Measure) -> tuple[Band, ...]:
    """The limits from shot to shot; from the first day to the last where they stay."""
    held = [dot for dot in dots if dot.low is not None and dot.high is not None]
    if not held:
        return ()
    ends = [(0.0, held[0]), *((dot.day, dot) for dot in held), (float(span.days), held[-1])]
    return (
        Band(
            tuple(x for x, _ in ends),
            tuple(measure.at(float(dot.low or 0)) for _, dot in ends),
            tuple(measure.at(float(dot.high or 0)) for _, dot in ends),
        ),
    )


def _words(group: Group, code: str) -> str:
    off = quantity(group.off, BOUNDS[code].unit)
    return (
        f"{group.where}, {group.recipe}: {group.out} of {counted(len(group.dots), 'shot')} out of"
        f" tolerance; {LABELS[code].lower()} differs from its target by {off} in the mean."
    )
