"""Endpoints: coffees, their lots, recipes."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.actions import add_coffee, add_lot, add_recipe, change_coffee
from recipes.coffees.models import Coffee, Recipe, RoastLot
from web.api import GuardedView, Listing, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID, Between
from web.idempotency import acting
from web.lookup import named, one_or_404

DAYS = Between(min_value=0, max_value=10_000)  # the action says what is allowed


class CoffeeOut(serializers.ModelSerializer[Coffee]):
    """A coffee; its rest window in days off roast."""

    class Meta:
        """What is shown."""

        model = Coffee
        fields = ["id", "name", "rest_from", "rest_to", "note", "revision"]


class CoffeeIn(serializers.Serializer[dict[str, Any]]):
    """A coffee to add, or all of what can be edited."""

    name = serializers.CharField(max_length=80)
    rest_from = serializers.IntegerField(**DAYS)
    rest_to = serializers.IntegerField(**DAYS)
    note = serializers.CharField(allow_blank=True, default="", max_length=2000)


class LotOut(serializers.ModelSerializer[RoastLot]):
    """A roast of a coffee."""

    class Meta:
        """What is shown."""

        model = RoastLot
        fields = ["id", "coffee", "code", "roasted_on", "rest_from", "rest_to"]


class LotIn(serializers.Serializer[dict[str, Any]]):
    """A roast to add; without a window it takes the coffee's."""

    code = serializers.CharField(max_length=40)
    roasted_on = serializers.DateField()
    rest_from = serializers.IntegerField(allow_null=True, default=None, **DAYS)
    rest_to = serializers.IntegerField(allow_null=True, default=None, **DAYS)


class RecipeOut(serializers.ModelSerializer[Recipe]):
    """A recipe; what it says is in its versions."""

    name = serializers.CharField(source="__str__", read_only=True)

    class Meta:
        """What is shown."""

        model = Recipe
        fields = ["id", "coffee", "drink", "name"]


class RecipeIn(serializers.Serializer[dict[str, Any]]):
    """A recipe to add."""

    coffee = serializers.IntegerField(**ID)
    drink = serializers.CharField(max_length=60)


class RecipeView(GuardedView):
    """Reading is for everybody with a role; what may be done is checked by the actions."""

    verb = Verb.RECIPE_VIEW


class Coffees(RecipeView, Listing):
    """All coffees."""

    acting_verb = Verb.COFFEE_EDIT

    @extend_schema(responses=CoffeeOut(many=True))
    def get(self, request: Request) -> Response:
        """List coffees, newest first."""
        return listed(self, Coffee.objects.all(), CoffeeOut)

    @extend_schema(request=CoffeeIn, responses={201: CoffeeOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a coffee."""
        made = add_coffee(by=person(request), **valid(CoffeeIn, request))
        return tagged(request, made, CoffeeOut(made).data, 201)


class OneCoffee(RecipeView):
    """One coffee."""

    acting_verb = Verb.COFFEE_EDIT

    @extend_schema(responses=CoffeeOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a coffee."""
        coffee = one_or_404(Coffee.objects.all(), pk)
        return tagged(request, coffee, CoffeeOut(coffee).data)

    @extend_schema(request=CoffeeIn, responses=CoffeeOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a coffee."""
        coffee, body = one_or_404(Coffee.objects.all(), pk), valid(CoffeeIn, request)
        revision = expected_revision(request, coffee)
        now = change_coffee(by=person(request), coffee=coffee, revision=revision, **body)
        return tagged(request, now, CoffeeOut(now).data)


class Lots(RecipeView, Listing):
    """The roasts of a coffee."""

    acting_verb = Verb.COFFEE_EDIT

    @extend_schema(responses=LotOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List a coffee's roast lots, newest first."""
        return listed(self, one_or_404(Coffee.objects.all(), pk).lots.all(), LotOut)

    @extend_schema(request=LotIn, responses={201: LotOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Add a roast lot."""
        coffee = one_or_404(Coffee.objects.all(), pk)
        made = add_lot(by=person(request), coffee=coffee, **valid(LotIn, request))
        return Response(LotOut(made).data, status=201)


class Recipes(RecipeView, Listing):
    """All recipes."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=RecipeOut(many=True))
    def get(self, request: Request) -> Response:
        """List recipes, newest first."""
        return listed(self, Recipe.objects.select_related("coffee"), RecipeOut)

    @extend_schema(request=RecipeIn, responses={201: RecipeOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a recipe."""
        body = valid(RecipeIn, request)
        pk = body["coffee"]
        coffee = named(Coffee.objects.all(), "coffee", pk, "the id of a coffee", pk=pk)
        made = add_recipe(by=person(request), coffee=coffee, drink=body["drink"])
        return Response(RecipeOut(made).data, status=201)


class OneRecipe(RecipeView):
    """One recipe."""

    @extend_schema(responses=RecipeOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a recipe."""
        recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
        return Response(RecipeOut(recipe).data)
