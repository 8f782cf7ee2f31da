"""Endpoints: menus, their versions, and what is decided about those."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from people.tokens.models import Scope
from recipes.coffees.api import RecipeView
from recipes.menus import review
from recipes.menus.drafts import add_menu, edit_draft, new_draft
from recipes.menus.models import Menu, MenuVersion, MenuVersionQuerySet
from recipes.menus.serializers import (
    ArrangementIn,
    MenuIn,
    MenuOut,
    MenuVersionOut,
    RemarkIn,
)
from recipes.versions.serializers import ApprovalIn, WithdrawalIn
from stations.equipment.models import Site
from web.api import Listing, checked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import named, one_or_404


def all_menu_versions() -> MenuVersionQuerySet:
    """Versions of menus with all that an answer holds."""
    return MenuVersion.objects.with_menu().with_drinks()


def answer(request: Request, version: MenuVersion, status: int = 200) -> Response:
    """The version as it is now, with its tag."""
    fresh = all_menu_versions().get(pk=version.pk)
    return tagged(request, fresh, MenuVersionOut(fresh).data, status)


def found(pk: int) -> MenuVersion:
    """The version. Raises Http404."""
    version: MenuVersion = one_or_404(all_menu_versions(), pk)
    return version


class Menus(RecipeView, Listing):
    """All menus."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=MenuOut(many=True))
    def get(self, request: Request) -> Response:
        """List menus, newest first."""
        return listed(self, Menu.objects.all(), MenuOut)

    @extend_schema(request=MenuIn, responses={201: MenuVersionOut})
    @acting
    def post(self, request: Request) -> Response:
        """Enter a menu with its first draft."""
        body = valid(MenuIn, request)
        sites = Site.objects.covered_by(person(request), Verb.SLOT_VIEW)
        like = None if body["like"] is None else named(sites, "like", body["like"], pk=body["like"])
        made = add_menu(by=person(request), name=body["name"], like=like)
        return answer(request, made, 201)


class OneMenu(RecipeView):
    """One menu."""

    @extend_schema(responses=MenuOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a menu."""
        return Response(MenuOut(one_or_404(Menu.objects.all(), pk)).data)


class MenuVersions(RecipeView, Listing):
    """The versions of one menu."""

    @extend_schema(responses=MenuVersionOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List a menu's versions, newest first."""
        menu = one_or_404(Menu.objects.all(), pk)
        return listed(self, all_menu_versions().filter(menu=menu), MenuVersionOut)


class OneMenuVersion(RecipeView):
    """One version of a menu."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=MenuVersionOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a version."""
        return answer(request, found(pk))

    @extend_schema(request=ArrangementIn, responses=MenuVersionOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Make a draft say exactly this."""
        version, body = found(pk), valid(ArrangementIn, request)
        now = edit_draft(
            by=person(request),
            menu_version=version,
            revision=expected_revision(request, version),
            arrangement={drink["slot_number"]: drink["version"] for drink in body["drinks"]},
            note=body["note"],
        )
        return answer(request, now)


class NextDraft(RecipeView):
    """The next version of a menu."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(request=None, responses={201: MenuVersionOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Begin a draft from this version, with today's approved version of each recipe."""
        return answer(request, new_draft(by=person(request), based_on=found(pk)), 201)


# Decisions.


class Submission(RecipeView):
    """Put a menu's draft before a second person."""

    acting_verb = Verb.RECIPE_SUBMIT

    @extend_schema(request=None, responses=MenuVersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Submit the draft as it was read."""
        version = found(pk)
        seen = expected_revision(request, version)
        return answer(
            request, review.submit(by=person(request), menu_version=version, revision=seen)
        )


class Return(RecipeView):
    """Send a menu's version back to its author."""

    acting_verb = Verb.RECIPE_RETURN

    @extend_schema(request=RemarkIn, responses=MenuVersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Return it, as it was read, saying why."""
        version, body = found(pk), valid(RemarkIn, request)
        seen = expected_revision(request, version)
        now = review.return_to_author(
            by=person(request), menu_version=version, revision=seen, **body
        )
        return answer(request, now)


class Approval(RecipeView):
    """Sign a menu's version."""

    acting_verb = Verb.RECIPE_APPROVE
    acting_scope = Scope.SIGN

    @extend_schema(request=ApprovalIn, responses=MenuVersionOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Approve what was read; the menu's approved version so far becomes superseded."""
        version, body = found(pk), checked(ApprovalIn, request)
        now = review.approve(
            by=person(request),
            menu_version=version,
            credentials=body.credentials(request),
            seen=body.validated_data["digest"],
        )
        note_signed(request)
        return answer(request, now)


class Withdrawal(RecipeView):
    """Take a menu's version out of use."""

    acting_verb = Verb.RECIPE_WITHDRAW

    @extend_schema(request=WithdrawalIn, responses=MenuVersionOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Withdraw it as it was read, and why."""
        version, body = found(pk), valid(WithdrawalIn, request)
        seen = expected_revision(request, version)
        now = review.withdraw(by=person(request), menu_version=version, revision=seen, **body)
        return answer(request, now)
