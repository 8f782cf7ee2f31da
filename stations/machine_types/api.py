"""Endpoints: machine types, with what each can set. Numbers are text."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.machine_types.actions import Reach, add_ability_set, change_ability_set
from stations.machine_types.catalogue import unit_of
from stations.machine_types.models import Ability, AbilitySet
from web.api import person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import PlainDecimal
from web.idempotency import acting
from web.listing import Listing
from web.lookup import one_or_404


class AbilityOut(serializers.ModelSerializer[Ability]):
    """One parameter a machine can set, in the machine's own unit."""

    unit = serializers.SerializerMethodField()
    minimum = PlainDecimal(read_only=True)
    maximum = PlainDecimal(read_only=True)
    resolution = PlainDecimal(read_only=True)

    class Meta:
        """What is shown."""

        model = Ability
        fields = ["parameter", "unit", "minimum", "maximum", "resolution"]

    def get_unit(self, ability: Ability) -> str:
        """UCUM."""
        return unit_of(ability.parameter)


class AbilitySetOut(serializers.ModelSerializer[AbilitySet]):
    """What machines of one construction can set."""

    abilities = AbilityOut(many=True, read_only=True)

    class Meta:
        """What is shown."""

        model = AbilitySet
        fields = ["id", "name", "ends_by", "abilities", "revision"]


class AbilityIn(serializers.Serializer[dict[str, Any]]):
    """One parameter and its reach."""

    parameter = serializers.CharField(max_length=40)
    minimum = PlainDecimal()
    maximum = PlainDecimal()
    resolution = PlainDecimal()


class AbilitySetIn(serializers.Serializer[dict[str, Any]]):
    """A whole set."""

    name = serializers.CharField(max_length=80)
    ends_by = serializers.ListField(child=serializers.CharField(max_length=20), max_length=20)
    abilities = AbilityIn(many=True, max_length=100)  # type: ignore[call-arg]

    def validate_abilities(self, rows: list[dict[str, Any]]) -> dict[str, Reach]:
        """By parameter. Raises ValidationError for one named twice."""
        named = [row["parameter"] for row in rows]
        twice = sorted({code for code in named if named.count(code) > 1})
        if twice:
            raise serializers.ValidationError(f"Each parameter once; {twice[0]} stands here twice.")
        return {
            row["parameter"]: Reach(row["minimum"], row["maximum"], row["resolution"])
            for row in rows
        }


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
        shown = one_or_404(AbilitySet.objects.all(), pk=pk)
        return tagged(request, shown, AbilitySetOut(shown).data)

    @extend_schema(request=AbilitySetIn, responses=AbilitySetOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Replace a set."""
        shown = one_or_404(AbilitySet.objects.all(), pk=pk)
        body = valid(AbilitySetIn, request)
        seen = expected_revision(request, shown)
        change_ability_set(ability_set=shown, seen_revision=seen, **body, by=person(request))
        return tagged(request, shown, AbilitySetOut(shown).data)
