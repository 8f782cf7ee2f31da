"""The outcome of a tasting in plain words; that nobody at all can tell is never claimed."""

from decimal import Decimal

from recipes.brewing.taste import Method
from recipes.tastings.models import Aim, Tasting
from web.printing import number, quantity


def sentence(tasting: Tasting, counted: int, of: int, *, shown: bool) -> str:
    """What so many counted answers of all say."""
    risk = percent(tasting.risk)
    if Method(tasting.method).is_preference:
        return _preference(tasting, counted, of, risk, shown=shown)
    counts = f"{number(counted)} of {number(of)} told the samples apart"
    if tasting.aim == Aim.SIMILARITY:
        return f"{counts}: {_similarity(tasting, risk, shown=shown)}."
    if shown:
        return f"{counts}: a difference is shown at a risk of {risk}."
    return f"{counts}: at a risk of {risk} no difference is shown, nor that there is none."


def _similarity(tasting: Tasting, risk: str, *, shown: bool) -> str:
    assert tasting.share is not None
    most = percent(tasting.share)
    if shown:
        return f"at a risk of {risk} no more than {most} of tasters can tell"
    return f"that no more than {most} of tasters can tell is not shown at a risk of {risk}"


def _preference(tasting: Tasting, counted: int, of: int, risk: str, *, shown: bool) -> str:
    more = counted * 2 >= of
    liked = tasting.second_sample if more else tasting.first_sample
    counts = f"{number(counted if more else of - counted)} of {number(of)} preferred {liked}"
    if shown:
        return f"{counts}: a preference is shown at a risk of {risk}."
    return (
        f"{counts}: at a risk of {risk} that shows no preference, and does not prove there is none."
    )


def percent(share: Decimal) -> str:
    """A share from 0 to 1 as 5 %."""
    return quantity(f"{(100 * share).normalize():f}", "%")
