"""What a fit rests on: the puck. Another coffee, dose, basket or grind is another one."""

from collections.abc import Iterable

from recipes.versions.lineage import changes
from recipes.versions.models import Version
from stations.charts.lineage import Change
from stations.metrology.formula import BASKET, DOSE

OF_THE_PUCK = (DOSE, BASKET, "grind_note")  # beside the coffee itself


def other_puck(was: Version, now: Version) -> list[Change]:
    """What of the puck two versions of one coffee state otherwise; empty: a fit holds for both."""
    if was.pk == now.pk:
        return []
    return [one for one in changes(was.stated, now.stated) if one.code in OF_THE_PUCK]


def carried(version: Version, earlier: Iterable[Version]) -> list[Version]:
    """Of a recipe's earlier versions those of the same puck."""
    return [one for one in earlier if not other_puck(one, version)]
