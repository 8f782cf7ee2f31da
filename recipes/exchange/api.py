"""Endpoints: recipes out as one document, and in as drafts."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.exchange.actions import import_recipes
from recipes.exchange.pages import exported
from recipes.exchange.reading import given
from web.api import person, valid
from web.idempotency import acting


class RecipesDocument(serializers.Serializer[dict[str, Any]]):
    """A file of recipes: what each holds is said by the schema at /recipes/schema.json."""

    format = serializers.CharField(max_length=40)
    recipes = serializers.ListField(child=serializers.DictField(), max_length=2000)


class ImportedOut(serializers.Serializer[dict[str, Any]]):
    """The drafts begun, by id, and how many recipes say already what the document says."""

    drafts = serializers.ListField(child=serializers.IntegerField())
    unchanged = serializers.IntegerField()


class Exchange(RecipeView):
    """All approved recipes as one document."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=RecipesDocument)
    def get(self, request: Request) -> Response:
        """Read them."""
        return Response(exported())

    @extend_schema(request=RecipesDocument, responses={201: ImportedOut})
    @acting
    def post(self, request: Request) -> Response:
        """Draft all of a document, or nothing of it; nothing is approved by it."""
        body = valid(RecipesDocument, request)
        done = import_recipes(by=person(request), recipes=given(dict(body)))
        drafts = [version.pk for version in done.drafts]
        return Response({"drafts": drafts, "unchanged": done.unchanged}, status=201)
