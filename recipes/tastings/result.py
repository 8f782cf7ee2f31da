"""What a tasting shows once its key is open, and the serving orders it was poured in."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial
from itertools import groupby

from recipes.brewing.serving import Serving, servings
from recipes.brewing.similarity import most_correct, similarity_p_value
from recipes.brewing.taste import Method, critical_count, p_value
from recipes.brewing.telling import (
    Distance,
    Estimate,
    sensory_distance,
    share_of_answers,
    share_of_tasters,
)
from recipes.requests.models import ChangeRequest
from recipes.tastings.models import Aim, Tasting, TastingAnswer
from recipes.tastings.sentences import sentence
from recipes.versions.models import Version
from web.numbers import rounded

P_PLACES = 4


@dataclass(frozen=True, slots=True)
class Range:
    """A figure with its interval; None where it has no end."""

    value: Decimal | None
    low: Decimal
    high: Decimal | None


@dataclass(frozen=True, slots=True)
class Result:
    """Correct answers (or those that prefer sample B) of all, the exact p-value, and what it says.

    ``needed`` is the count that decides: so many correct answers or more, or for similarity so many
    or fewer. ``share`` [%] is of tasters who can tell, or of answers that prefer sample B;
    ``distance`` is d-prime. Both with their exact interval of 90 % confidence.
    """

    aim: str
    answers: int
    counted: int
    needed: int | None
    p: Decimal
    shown: bool
    share: Range
    distance: Range
    sentence: str


def session(tasting: Tasting) -> list[Serving]:
    """The servings by seed; the same for ever."""
    return servings(Method(tasting.method), tasting.assessments, tasting.seed)


def is_paired(tasting: Tasting) -> bool:
    """Whether it asks for a preference rather than for a difference."""
    return Method(tasting.method).is_preference


def chosen_sample(serving: Serving, code: str) -> str:
    """A or B: what was in the chosen cup."""
    poured = serving.order[len(serving.order) - len(serving.codes) :]
    return poured[serving.codes.index(code)]


def is_counted(serving: Serving, code: str) -> bool:
    """Whether the answer is right, or for a preference, whether it prefers sample B."""
    return code == serving.key if serving.key else chosen_sample(serving, code) == "B"


def result_of(tasting: Tasting) -> Result:
    """Judge the locked answers by the exact binomial; there is one answer at least."""
    method, by_number = Method(tasting.method), {one.number: one for one in session(tasting)}
    given = list(tasting.answers.all())
    of, counted = len(given), sum(is_counted(by_number[one.number], one.chosen) for one in given)
    p, needed = _judged(tasting, method, of, counted)
    shown = p <= tasting.risk
    answers = share_of_answers if method.is_preference else partial(share_of_tasters, method)
    apart = max(counted, of - counted) if method.sides == 2 else counted
    return Result(
        tasting.aim, of, counted, needed,
        rounded(float(p), P_PLACES),
        shown,
        _range(answers(of, counted), 0, times=100),
        _range(sensory_distance(method, of, apart), 2),
        sentence(tasting, counted, of, shown=shown),
    )  # fmt: skip


def _judged(tasting: Tasting, method: Method, of: int, counted: int) -> tuple[Fraction, int | None]:
    if tasting.aim != Aim.SIMILARITY:
        return p_value(method, of, counted), critical_count(method, of, tasting.risk)
    assert tasting.share is not None
    return (
        similarity_p_value(method, of, counted, tasting.share),
        most_correct(method, of, tasting.risk, tasting.share),
    )


def _range(found: Estimate | Distance, places: int, times: int = 1) -> Range:
    value, high = (
        None if part is None else rounded(times * part, places)
        for part in (found.value, found.high)
    )
    return Range(value, rounded(times * found.low, places), high)


@dataclass(frozen=True, slots=True)
class Evidence:
    """An opened tasting with its outcome."""

    tasting: Tasting
    result: Result


def evidence_of(thing: ChangeRequest | Version) -> list[Evidence]:
    """What was attached to it; a version also carries what its change request brought."""
    attached = list(thing.tastings.select_related("site").prefetch_related("answers"))
    if isinstance(thing, Version) and thing.change_request_id:
        rows = Tasting.objects.filter(for_request=thing.change_request_id)
        attached += rows.select_related("site").prefetch_related("answers")
    return [Evidence(one, result_of(one)) for one in attached]


@dataclass(frozen=True, slots=True)
class Said:
    """What one taster chose in one serving: the sample, and whether it was right; both None while
    the key is closed."""

    taster: int
    answer: TastingAnswer
    sample: str | None
    right: bool | None


def answers_of(tasting: Tasting) -> list[Said]:
    """Every answer, taster by taster; what was in the cups only once the key is open."""
    by_number = {one.number: one for one in session(tasting)}
    opened = tasting.state == Tasting.State.OPENED
    return [
        Said(
            taster_of(tasting, one.number),
            one,
            chosen_sample(by_number[one.number], one.chosen) if opened else None,
            is_counted(by_number[one.number], one.chosen) if opened else None,
        )
        for one in tasting.answers.all()
    ]


def taster_of(tasting: Tasting, number: int) -> int:
    """Who tastes that serving: tasters are numbered from 1, and taste their servings in a row."""
    return (number - 1) // tasting.servings_each + 1


def sheets_of(tasting: Tasting) -> list[tuple[int, list[Serving]]]:
    """Each taster's number with the servings that stand on their sheet."""
    return [
        (taster, list(own))
        for taster, own in groupby(session(tasting), lambda one: taster_of(tasting, one.number))
    ]
