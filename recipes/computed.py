"""What follows from a formula and a lot: shown while a draft is edited, never stored."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from recipes.brewing.ratio import brew_ratio, printed_ratio
from recipes.formula import Entry
from recipes.models import RoastLot

RATIO_PLACES = 2


def ratio_of(formula: Mapping[str, Entry]) -> Decimal | None:
    """Beverage mass over dose, half-up to two places; None while either is missing."""
    dose = formula.get("dose_mass", Entry()).target
    beverage = formula.get("beverage_mass", Entry()).target
    if dose is None or beverage is None:
        return None
    return brew_ratio(dose, beverage, places=RATIO_PLACES)


def ratio_words(formula: Mapping[str, Entry]) -> str:
    """'1 : 2.00', or nothing while dose or beverage mass is missing."""
    ratio = ratio_of(formula)
    return "" if ratio is None else printed_ratio(ratio)


@dataclass(frozen=True)
class Rest:
    """How a roast lot stands on one day: days off roast against its rest window."""

    lot: RoastLot
    days: int

    @property
    def state(self) -> str:
        """One of resting, ready, past."""
        if self.days < self.lot.rest_from:
            return "resting"
        return "ready" if self.days <= self.lot.rest_to else "past"

    def words(self) -> str:
        """A sentence for the page."""
        window = f"best from day {self.lot.rest_from} to day {self.lot.rest_to}"
        told = {
            "resting": f"still resting, {window}",
            "ready": f"in its window, {window}",
            "past": f"past its window, {window}",
        }[self.state]
        return f"{self.days} day{'' if self.days == 1 else 's'} off roast: {told}"


def rest_of(lot: RoastLot, today: date) -> Rest:
    """The lot's rest on that day."""
    return Rest(lot, lot.days_off_roast(today))
