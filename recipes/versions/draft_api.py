"""Endpoints: a draft from a good shot, and one put on the version approved meanwhile."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.coffees.models import Recipe
from recipes.formula.sides import ChoicesIn, ThreeSidesOut, sides_out
from recipes.versions.api import all_versions, answer
from recipes.versions.dial_in import draft_from_shot
from recipes.versions.rebasing import draft_sides, newer_than_base, rebase_draft
from recipes.versions.serializers import VersionOut
from stations.shots.models import CheckShot
from web.api import person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID
from web.idempotency import acting
from web.lookup import named, one_or_404


class ShotDraftIn(serializers.Serializer[dict[str, Any]]):
    """The recipe, where the shot was poured on a slot set by hand; null where it was signed."""

    recipe = serializers.IntegerField(allow_null=True, default=None, **ID)


class ShotDraft(RecipeView):
    """A draft captured from a good shot."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(request=ShotDraftIn, responses={201: VersionOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Begin a draft that aims at what the shot weighed and timed."""
        shot = one_or_404(CheckShot.objects.covered_by(person(request)).with_place(), pk)
        recipe = _recipe(valid(ShotDraftIn, request)["recipe"])
        return answer(request, draft_from_shot(by=person(request), shot=shot, recipe=recipe), 201)


def _recipe(pk: int | None) -> Recipe | None:
    if pk is None:
        return None
    known = Recipe.objects.select_related("coffee")
    return named(known, "recipe", pk, "the id of a recipe, or null", pk=pk)


class Move(RecipeView):
    """Put a draft on the version approved since it began."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=ThreeSidesOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read the three sides: base, draft, approved version; none where it stands on that."""
        draft = one_or_404(all_versions().select_related("based_on"), pk)
        current = newer_than_base(draft)
        lines = draft_sides(draft, current) if current else []
        versions = {"base": draft.based_on_id, "current": current.pk if current else None}
        return tagged(request, draft, {**versions, "sides": [sides_out(line) for line in lines]})

    @extend_schema(request=ChoicesIn, responses=VersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Choose for each parameter in which both sides moved, by the three sides as read."""
        draft, body = one_or_404(all_versions(), pk), valid(ChoicesIn, request)
        revision = expected_revision(request, draft)
        now = rebase_draft(by=person(request), version=draft, revision=revision, **body)
        return answer(request, now)
