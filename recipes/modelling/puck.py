"""What a fit rests on: the puck. Another coffee, dose, basket or grind is another one."""

from recipes.formula.formula import Formula
from recipes.versions.lineage import changes
from stations.charts.lineage import Change
from stations.metrology.formula import BASKET, DOSE

OF_THE_PUCK = (DOSE, BASKET, "grind_note")  # beside the coffee itself


def other_puck(was: Formula, now: Formula) -> list[Change]:
    """What of the puck two formulas of one coffee state otherwise; empty: a fit holds for both."""
    return [one for one in changes(was, now) if one.code in OF_THE_PUCK]
