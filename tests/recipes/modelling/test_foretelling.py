"""What the shot model foretells of a finer grind, for advice where shots are too few."""

from decimal import Decimal

from recipes.modelling.foretelling import foretell
from recipes.publishing import run
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.slots.by_hand import set_by_hand
from tests.bar import Bar
from tests.publishing import Publish
from tests.stations.conftest import FOUND


def test_one_percent_finer_runs_longer(bar: Bar, send: Publish) -> None:
    """Darcy: the time to the same water goes with the square of the grain, or a bit more."""
    run.run(send().pk)
    weighed = Weighed(Decimal("18.0"), Decimal("38"), Decimal(28))
    told = foretell(log_shot(by=bar.cast.barista, slot=bar.slots[0], shot=weighed))
    assert told
    assert 0.2 < told.time < 1.2


def test_nothing_is_foretold_of_what_was_set_by_hand(bar: Bar) -> None:
    set_by_hand(by=bar.cast.shop_lead, slot=bar.slots[0], values=FOUND)
    weighed = Weighed(Decimal("18.0"), Decimal("38"), Decimal(28))
    assert foretell(log_shot(by=bar.cast.barista, slot=bar.slots[0], shot=weighed)) is None
