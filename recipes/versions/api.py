"""Endpoints: versions, drafts and what they say."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.coffees.models import Recipe, RoastLot
from recipes.formula.fields import shown
from recipes.versions.differences import variants_differ
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version, VersionQuerySet
from recipes.versions.serializers import (
    DraftContent,
    DraftIn,
    VersionOut,
)
from web.api import Listing, asked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID
from web.idempotency import acting
from web.lookup import named, one_or_404


class VersionFilter(serializers.Serializer[dict[str, Any]]):
    """Versions of one recipe, or in one state."""

    recipe = serializers.IntegerField(required=False, **ID)
    state = serializers.ChoiceField(required=False, choices=Version.State.choices)


class TwoVersions(serializers.Serializer[dict[str, Any]]):
    """Two version numbers of a recipe."""

    old = serializers.IntegerField(min_value=1, max_value=2**31 - 1)
    new = serializers.IntegerField(min_value=1, max_value=2**31 - 1)


class ComparisonOut(serializers.Serializer[dict[str, object]]):
    """Two versions' formulas; `differs` names the parameters that do, by value.

    `variants_differ` the same of variants, by machine type.
    """

    old = VersionOut()
    new = VersionOut()
    differs = serializers.ListField(child=serializers.CharField())
    variants_differ = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField())
    )


def all_versions() -> VersionQuerySet:
    """Versions with all that an answer holds."""
    return Version.objects.with_recipe().with_formula().prefetch_related("answers__by")


def answer(request: Request, version: Version, status: int = 200) -> Response:
    """The version as it is now, with its tag."""
    fresh = all_versions().get(pk=version.pk)
    return tagged(request, fresh, VersionOut(fresh).data, status)


class Versions(RecipeView, Listing):
    """All versions."""

    query = VersionFilter

    @extend_schema(responses=VersionOut(many=True))
    def get(self, request: Request) -> Response:
        """List versions, newest first; of one recipe or in one state."""
        return listed(self, all_versions().filter(**asked(VersionFilter, request)), VersionOut)


class OneVersion(RecipeView):
    """One version."""

    @extend_schema(responses=VersionOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a version."""
        version = one_or_404(all_versions(), pk)
        return tagged(request, version, VersionOut(version).data)


class RecipeVersions(RecipeView, Listing):
    """The versions of one recipe."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=VersionOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List a recipe's versions, newest first."""
        recipe = one_or_404(Recipe.objects.all(), pk)
        return listed(self, all_versions().filter(recipe=recipe), VersionOut)

    @extend_schema(request=DraftIn, responses={201: VersionOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Begin a draft under the recipe's next number."""
        recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
        body = valid(DraftIn, request)
        made = new_draft(
            by=person(request),
            recipe=recipe,
            based_on=_base(body["based_on"]),
            lot=lot_of(body["lot"]),
            note=body["note"],
        )
        return answer(request, made, 201)


class VersionFormula(RecipeView):
    """What a draft says."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=DraftContent)
    def get(self, request: Request, pk: int) -> Response:
        """Read what a version says, in the form in which PUT takes it."""
        version = one_or_404(all_versions(), pk)
        content = {"formula": shown(version.stated)}
        return tagged(request, version, content | {"lot": version.lot_id, "note": version.note})

    @extend_schema(request=DraftContent, responses=VersionOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Make a draft say exactly this."""
        version, body = one_or_404(all_versions(), pk), valid(DraftContent, request)
        now = edit_draft(
            by=person(request),
            version=version,
            revision=expected_revision(request, version),
            values=body["formula"],
            note=body["note"],
            lot=lot_of(body["lot"]),
        )
        return answer(request, now)


class Comparison(RecipeView):
    """Two versions of a recipe."""

    query = TwoVersions

    @extend_schema(responses=ComparisonOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read two versions by number, and which parameters differ."""
        recipe, wanted = one_or_404(Recipe.objects.all(), pk), asked(TwoVersions, request)
        by_number = {v.number: v for v in all_versions().filter(recipe=recipe)}
        for side, number in wanted.items():
            if number not in by_number:
                raise Invalid(side, number, "the number of a version of this recipe")
        old, new = by_number[wanted["old"]], by_number[wanted["new"]]
        codes = old.stated.differing(new.stated)
        sides = {"old": VersionOut(old).data, "new": VersionOut(new).data}
        differ = {"differs": sorted(codes), "variants_differ": variants_differ(old, new)}
        return Response({**sides, **differ})


def lot_of(pk: int | None) -> RoastLot | None:
    """The lot. Raises Invalid if there is none; whether it fits is the action's question."""
    if pk is None:
        return None
    lots = RoastLot.objects.select_related("coffee")
    return named(lots, "lot", pk, "the id of a roast lot, or null", pk=pk)


def _base(pk: int | None) -> Version | None:
    if pk is None:
        return None
    return named(all_versions(), "based_on", pk, "the id of a version, or null", pk=pk)
