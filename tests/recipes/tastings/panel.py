"""A tasting to start from, and tasters who can or can't tell."""

from decimal import Decimal

from recipes.tastings.actions import lock_answers, open_key, plan_tasting, record_answers
from recipes.tastings.models import Tasting
from recipes.tastings.result import session
from tests.cast import Cast


def plan(cast: Cast, method: str = "triangle", assessments: int = 12) -> Tasting:
    """The shop lead's tasting at the harbour."""
    return plan_tasting(
        site=cast.site, method=method, first_sample="93.0 °C", second_sample="94.0 °C",
        risk=Decimal("0.05"), assessments=assessments, seed="a tray of cups", by=cast.shop_lead,
    )  # fmt: skip


def right_answers(tasting: Tasting, right: int) -> dict[int, str]:
    """The first so many right, the others wrong."""
    return {
        one.number: one.key if one.number <= right else next(c for c in one.codes if c != one.key)
        for one in session(tasting)
    }


def opened(cast: Cast, right: int) -> Tasting:
    """A triangle of 12 with so many right answers, key open."""
    tasting = plan(cast)
    by, answers = cast.shop_lead, right_answers(tasting, right)
    tasting = record_answers(by=by, tasting=tasting, revision=tasting.revision, answers=answers)
    tasting = lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    return open_key(by=by, tasting=tasting, revision=tasting.revision)
