"""How long a roast lot has rested, against the window in which it is best: never stored."""

from dataclasses import dataclass
from datetime import date

from recipes.brewing.rest import Rest, RestState, check_rest, days_off_roast
from recipes.coffees.models import RoastLot
from web.printing import counted


@dataclass(frozen=True)
class LotRest:
    """How a roast lot stands on one day: days off roast against its rest window."""

    lot: RoastLot
    rest: Rest

    @property
    def days(self) -> int:
        """Days off roast."""
        return self.rest.days

    @property
    def state(self) -> RestState:
        """One of resting, ready, past."""
        return self.rest.state

    @property
    def warn(self) -> bool:
        """Whether it is outside its window."""
        return self.rest.warn

    @property
    def warnings(self) -> list[str]:
        """The same as a list that a page can show as its problems."""
        advice = {
            "resting": "Younger than its window: cups will change until it has rested.",
            "past": "Older than its window: expect flatter cups, or name a fresher lot in a draft.",
        }
        return [advice[self.state]] if self.warn else []

    def words(self) -> str:
        """A sentence for the page."""
        window = f"best from day {self.lot.rest_from} to day {self.lot.rest_to}"
        sentence = {
            RestState.RESTING: f"still resting, {window}",
            RestState.READY: f"in its window, {window}",
            RestState.PAST: f"past its window, {window}",
        }[self.state]
        return f"{counted(self.days, 'day')} off roast: {sentence}"


def rest_of(lot: RoastLot, today: date) -> LotRest:
    """The lot's rest on that day; roasted where it is tomorrow already, it counts as day 0."""
    days = days_off_roast(lot.roasted_on, max(today, lot.roasted_on))
    return LotRest(lot, check_rest(days, lot.rest_from, lot.rest_to))
