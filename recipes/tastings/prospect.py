"""What a planned tasting can show: answers needed, how often it would show it, panel needed."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.similarity import most_correct, similarity_panel, similarity_power
from recipes.brewing.taste import Method, PanelSize, critical_count, panel_size, power
from recipes.tastings.models import Aim
from web.numbers import Bounds, rounded

WANTED_POWER = 0.8  # the usual aim, common practice
LEAST_SHARE, MOST_SHARE = Decimal("0.05"), Decimal("0.9")  # of tasters who can, or may, tell
SHARE = Bounds(LEAST_SHARE, MOST_SHARE, places=2, unit="1")


@dataclass(frozen=True, slots=True)
class Prospect:
    """The count that decides, the power [%], and the panel for a power of 80 %.

    ``needed`` is the fewest right answers that show a difference, or the most that show
    similarity; None where no number of them does.
    """

    aim: str
    assessments: int
    needed: int | None
    power: Decimal
    panel: PanelSize


def prospect(
    method: Method, assessments: int, risk: Decimal, share: Decimal, aim: str = Aim.DIFFERENCE
) -> Prospect:
    """Judge a plan, if ``share`` (0 to 1) of the tasters could really tell, or at most may.

    Raises QuantityError naming what the method can't be asked for.
    """
    if aim == Aim.SIMILARITY:
        needed = most_correct(method, assessments, risk, share)
        likely = similarity_power(method, assessments, risk, share)
        panel = similarity_panel(method, risk, WANTED_POWER, share)
    else:
        needed = critical_count(method, assessments, risk)
        likely = power(method, assessments, risk, float(share))
        panel = panel_size(method, risk, WANTED_POWER, float(share))
    return Prospect(aim, assessments, needed, rounded(100 * likely, 0), panel)
