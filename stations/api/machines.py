"""Endpoints: machines, and what they can set."""

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from people.verbs import Verb
from people.web.api import person, valid
from people.web.etags import expected_revision, matching, tagged
from people.web.idempotency import acting
from stations.actions import add_ability_set, add_machine, change_ability_set, change_machine
from stations.api.asking import Listing, Rows, found, named, narrowed
from stations.api.equipment import (
    AbilitySetIn,
    AbilitySetOut,
    MachineChange,
    MachineIn,
    MachineOut,
)
from stations.models import AbilitySet, Machine, Site


class AbilitySets(Listing):
    """What machines of each construction can set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=AbilitySetOut(many=True))
    def get(self, request: Request) -> Response:
        """List sets, newest first."""
        return self.listed(AbilitySet.objects.prefetch_related("abilities"), AbilitySetOut)

    @extend_schema(request=AbilitySetIn, responses={201: AbilitySetOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a set."""
        made = add_ability_set(**valid(AbilitySetIn, request), by=person(request))
        return tagged(request, made, AbilitySetOut(made).data, 201)


class OneAbilitySet(Listing):
    """One set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT
    acting_everywhere = True

    @extend_schema(responses=AbilitySetOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a set."""
        shown = found(AbilitySet.objects.all(), pk=pk)
        return tagged(request, shown, AbilitySetOut(shown).data)

    @extend_schema(request=AbilitySetIn, responses=AbilitySetOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Replace a set."""
        shown = found(AbilitySet.objects.all(), pk=pk)
        body = valid(AbilitySetIn, request)
        seen = expected_revision(request, shown)
        change_ability_set(ability_set=shown, seen_revision=seen, **body, by=person(request))
        return tagged(request, shown, AbilitySetOut(shown).data)


class Machines(Listing):
    """The machines of the sites one's roles cover."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(
        parameters=[OpenApiParameter("site", str, description="code of a site")],
        responses=MachineOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """List machines, newest first."""
        rows = narrowed(_machines(request), request, site="site__code")
        return self.listed(rows, MachineOut)

    @extend_schema(request=MachineIn, responses={201: MachineOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a machine."""
        body = valid(MachineIn, request)
        sites = Site.objects.covered_by(person(request))
        made = add_machine(
            site=named(sites, "site", body["site"], code=body["site"]),
            name=body["name"],
            abilities=_abilities(body["abilities"]),
            by=person(request),
        )
        return tagged(request, made, MachineOut(made).data, 201)


class OneMachine(Listing):
    """One machine."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.EQUIPMENT_EDIT

    @extend_schema(responses=MachineOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a machine."""
        shown = found(_machines(request), pk=pk)
        return tagged(request, shown, MachineOut(shown).data)

    @extend_schema(request=MachineChange, responses=MachineOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Change a machine's name and abilities."""
        shown: Machine = found(_machines(request), pk=pk)
        body = valid(MachineChange, request)
        change_machine(
            machine=shown,
            seen_revision=expected_revision(request, shown),
            name=body["name"],
            abilities=_abilities(body["abilities"]),
            by=person(request),
        )
        return tagged(request, shown, MachineOut(shown).data)


def _machines(request: Request) -> Rows:
    return Machine.objects.covered_by(person(request)).select_related("site")


def _abilities(pk: int) -> AbilitySet:
    return named(AbilitySet.objects.all(), "abilities", pk, pk=pk)
