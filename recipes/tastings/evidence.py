"""Opened tastings as evidence that a request can point to."""

from collections.abc import Collection

from django.db.models import Q, QuerySet

from people.persons.models import User
from recipes.requests.evidence import About, Kind, register_kind
from recipes.tastings.models import Tasting, TastingState
from recipes.tastings.result import result_of
from web.printing import day


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("tastings", "tasting", "Tastings", _seen, _of_site, _near, _words,
             ("site", "base", "other"), _recipes)
    )  # fmt: skip


def _seen(user: User) -> QuerySet[Tasting]:
    return _opened(Tasting.objects.covered_by(user))


def _of_site(site_id: int) -> QuerySet[Tasting]:
    return _opened(Tasting.objects.filter(site=site_id))


def _opened(rows: QuerySet[Tasting]) -> QuerySet[Tasting]:
    """Before its key is open a tasting says nothing."""
    return rows.filter(state=TastingState.OPENED).prefetch_related("answers")


def _near(rows: QuerySet[Tasting], about: About) -> QuerySet[Tasting]:
    """Of any version of the recipe; one of described samples could be about anything."""
    recipe = about.base.recipe_id
    described = Q(base=None, other=None)
    return rows.filter(Q(base__recipe=recipe) | Q(other__recipe=recipe) | described)


def _words(tasting: Tasting) -> str:
    said = result_of(tasting).sentence
    when = tasting.opened_at or tasting.planned_at
    samples = f"{tasting.first_sample} against {tasting.second_sample}"
    return f"{day(when, tasting.site.time_zone)}: {samples}. {said}"


def _recipes(tasting: Tasting) -> Collection[int]:
    return [each.recipe_id for each in (tasting.base, tasting.other) if each is not None]
