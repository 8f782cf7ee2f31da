"""Endpoints: planning and signing a menu's publication, and what a site follows."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from people.tokens.models import Scope
from recipes.coffees.api import RecipeView
from recipes.menus.api import found
from recipes.menus.departures import standings
from recipes.menus.following import follow
from recipes.menus.models import Following, Menu, MenuVersion
from recipes.menus.plan import MenuPlan, make_menu_plan
from recipes.menus.publishing import for_plan, publish_menu
from recipes.menus.serializers import (
    DepartureOut,
    FollowIn,
    MenuPlanIn,
    MenuPlanOut,
    MenuPublicationIn,
    StandingOut,
)
from recipes.planning.plan import Outcome
from recipes.publishing.answers import OnePublicationOut
from recipes.publishing.api import publication_answer
from recipes.publishing.serializers import expected_json
from recipes.publishing.timing import When
from stations.equipment.models import Site
from web.api import GuardedView, checked, person, valid
from web.idempotency import acting
from web.lookup import named, one_or_404


def _for_plan(pk: int) -> MenuVersion:
    version = for_plan(pk)
    return version or found(pk)


class Planning(GuardedView):
    """What publishing a menu would do to every slot. Writes nothing."""

    verb = Verb.PUBLICATION_PLAN

    @extend_schema(request=MenuPlanIn, responses=MenuPlanOut)
    def post(self, request: Request, pk: int) -> Response:
        """Work out a plan; its digest is what a publication is signed over."""
        version, body = _for_plan(pk), valid(MenuPlanIn, request)
        plan = make_menu_plan(
            by=person(request),
            menu_version=version,
            sites=body["sites"],
            when=When(body.get("date"), body.get("time")),
            now=datetime.now(UTC),
        )
        return Response(_plan_json(plan, body.get("site")))


def _plan_json(plan: MenuPlan, site_id: int | None) -> dict[str, Any]:
    hindrance = plan.hindrance()
    return {
        "digest": plan.digest,
        "hindrance": hindrance.message if hindrance else "",
        "to_acknowledge": plan.to_acknowledge,
        "learnt_until": plan.learnt_until,
        "sites": list(_sites_json(plan)),
        "slots": [_slot_json(line) for line in plan.lines if line.slot.site_id == site_id],
    }


def _sites_json(plan: MenuPlan) -> Iterator[dict[str, Any]]:
    outcomes = {site.pk: Counter(line.outcome for line in here) for site, _, here in plan.by_site()}
    for pk, site in plan.sites.items():
        counts = outcomes.get(pk, Counter())
        yield {
            "site": pk,
            "name": site.name,
            "due_at": plan.due[pk].at,
            "missing": plan.missing.get(pk, ()),
            "place": counts[Outcome.PLACE],
            "same": counts[Outcome.SAME],
            "refuse": counts[Outcome.REFUSE],
        }


def _slot_json(line: Any) -> dict[str, Any]:  # noqa: ANN401
    there = line.translation
    return {
        "slot": line.slot.pk,
        "place": line.slot.place,
        "holds": line.held.title if line.held else "",
        "outcome": line.outcome.value,
        "reasons": list(line.reasons),
        "settings": there.values,
        "expected": expected_json(there.expected),
        "variant": there.variant,
    }


class Publishing(GuardedView):
    """A menu, signed for sites that follow it."""

    verb = Verb.PUBLICATION_SIGN
    acting_scope = Scope.SIGN

    @extend_schema(request=MenuPublicationIn, responses={201: OnePublicationOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Sign a plan that was seen, named by its digest."""
        version, body = _for_plan(pk), checked(MenuPublicationIn, request)
        given: dict[str, Any] = body.validated_data
        made = publish_menu(
            by=person(request),
            menu_version=version,
            sites=given["sites"],
            when=When(given.get("date"), given.get("time")),
            seen=given["seen_digest"],
            reason=given["reason"],
            credentials=body.credentials(request),
            acknowledged=given["acknowledged"],
            learnt_until=given["learnt_until"],
        )
        note_signed(request)
        return publication_answer(request, made.pk, status=201)


# What a site follows.


class SiteMenu(RecipeView):
    """What a site follows, and where it departs."""

    acting_verb = Verb.PUBLICATION_SIGN

    @extend_schema(responses=StandingOut)
    def get(self, request: Request, code: str) -> Response:
        """Read it."""
        return Response(_standing_json(_site(person(request), code)))

    @extend_schema(request=FollowIn, responses=StandingOut)
    @acting
    def post(self, request: Request, code: str) -> Response:
        """Let the site follow another menu, or none. Nothing is placed by that."""
        site, body = _site(person(request), code), valid(FollowIn, request)
        wanted = body["menu"]
        menu = None if wanted is None else named(Menu.objects.all(), "menu", wanted, pk=wanted)
        follow(by=person(request), site=site, menu=menu, instead_of=body["instead_of"])
        return Response(_standing_json(site))


def _site(by: User, code: str) -> Site:
    site: Site = one_or_404(Site.objects.covered_by(by, Verb.SLOT_VIEW), code=code)
    return site


def _standing_json(site: Site) -> dict[str, Any]:
    rows = standings(Following.objects.current().filter(site=site))
    if not rows:
        empty = {"menu_name": "", "by": "", "published": False, "departures": []}
        return {
            "site": site.pk,
            "menu": None,
            "since": None,
            "menu_version": None,
            "newer": None,
        } | empty
    [one] = rows
    return {
        "site": site.pk,
        "menu": one.following.menu_id,
        "menu_name": one.following.menu.name,
        "since": one.following.since,
        "by": one.following.by.name,
        "menu_version": one.version.pk if one.version else None,
        "published": one.sent,
        "newer": one.newer.pk if one.newer else None,
        "departures": DepartureOut(list(one.departures), many=True).data,
    }
