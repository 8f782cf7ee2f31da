"""What a tasting shows once its key is open, and the serving orders it was poured in."""

from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.serving import Serving, servings
from recipes.brewing.taste import Method, Share, critical_count, estimated_share, p_value
from recipes.requests.models import ChangeRequest
from recipes.tastings.models import Tasting
from recipes.versions.models import Version
from web.numbers import rounded

P_PLACES = 4


@dataclass(frozen=True, slots=True)
class Result:
    """Correct answers (or those that prefer sample B) of all, the exact p-value, and what it says.

    ``share`` is of tasters who can tell, or how far a preference leans, in %, with its interval.
    """

    answers: int
    counted: int
    needed: int | None
    p: Decimal
    shown: bool
    share: tuple[Decimal, Decimal, Decimal]
    sentence: str


def session(tasting: Tasting) -> list[Serving]:
    """The servings by seed; the same for ever."""
    return servings(Method(tasting.method), tasting.assessments, tasting.seed)


def is_paired(tasting: Tasting) -> bool:
    """Whether it asks for a preference rather than for a difference."""
    return len(session(tasting)[0].order) == 2


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
    counted = sum(is_counted(by_number[one.number], one.chosen) for one in given)
    p = p_value(method, len(given), counted)
    needed = critical_count(method, len(given), tasting.risk)
    shown = p <= tasting.risk
    share = estimated_share(method, len(given), counted)
    return Result(
        len(given),
        counted,
        needed,
        rounded(float(p), P_PLACES),
        shown,
        _percent(share),
        _sentence(tasting, method, counted, len(given), shown=shown),
    )


def _percent(share: Share) -> tuple[Decimal, Decimal, Decimal]:
    low, value, high = (rounded(100 * part, 0) for part in (share.low, share.value, share.high))
    return low, value, high


def _sentence(tasting: Tasting, method: Method, counted: int, of: int, *, shown: bool) -> str:
    """The outcome in plain words; no proof of sameness is ever claimed."""
    risk = f"{(tasting.risk * 100).normalize():f} %"
    if method.chance.denominator == 2 and method is not Method.DUO_TRIO:
        more = counted * 2 >= of
        liked = tasting.second_sample if more else tasting.first_sample
        counts = f"{counted if more else of - counted} of {of} preferred {liked}"
        verdict = f"a preference is shown at a risk of {risk}"
        if not shown:
            verdict = (
                f"at a risk of {risk} that shows no preference, and does not prove there is none"
            )
        return f"{counts}: {verdict}."
    counts = f"{counted} of {of} told the samples apart"
    if shown:
        return f"{counts}: a difference is shown at a risk of {risk}."
    return f"{counts}: at a risk of {risk} no difference is shown, nor that there is none."


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
