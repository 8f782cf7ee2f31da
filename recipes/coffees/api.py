"""Endpoints: coffees, their lots, recipes."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from recipes.coffees.actions import add_coffee, add_lot, add_recipe, change_coffee
from recipes.coffees.models import Coffee, Recipe
from recipes.versions.serializers import CoffeeIn, CoffeeOut, LotIn, LotOut, RecipeIn, RecipeOut
from web.api import GuardedView, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.pages import one_or_404
from web.paging import KeysetPagination


class RecipeView(GuardedView):
    """Reading is for everybody with a role; what may be done is checked by the actions."""

    verb = Verb.RECIPE_VIEW
    pagination_class: type[KeysetPagination] | None = KeysetPagination


class Coffees(RecipeView):
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
        found = one_or_404(Coffee.objects.all(), pk)
        return tagged(request, found, CoffeeOut(found).data)

    @extend_schema(request=CoffeeIn, responses=CoffeeOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a coffee."""
        found, body = one_or_404(Coffee.objects.all(), pk), valid(CoffeeIn, request)
        revision = expected_revision(request, found)
        now = change_coffee(by=person(request), coffee=found, revision=revision, **body)
        return tagged(request, now, CoffeeOut(now).data)


class Lots(RecipeView):
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
        found = one_or_404(Coffee.objects.all(), pk)
        made = add_lot(by=person(request), coffee=found, **valid(LotIn, request))
        return Response(LotOut(made).data, status=201)


class Recipes(RecipeView):
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
        coffee = Coffee.objects.filter(pk=body["coffee"]).first()
        if coffee is None:
            raise Invalid("coffee", body["coffee"], "the id of a coffee")
        made = add_recipe(by=person(request), coffee=coffee, drink=body["drink"])
        return Response(RecipeOut(made).data, status=201)


class OneRecipe(RecipeView):
    """One recipe."""

    @extend_schema(responses=RecipeOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a recipe."""
        found = one_or_404(Recipe.objects.select_related("coffee"), pk)
        return Response(RecipeOut(found).data)
