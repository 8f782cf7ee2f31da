"""Endpoints: machine types, with what each can set. Numbers are text."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.machine_types.actions import Reach, add_machine_type, change_machine_type
from stations.machine_types.catalogue import unit_of
from stations.machine_types.models import Ability, MachineType
from web.api import GuardedView, Listing, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import PlainDecimal
from web.idempotency import acting
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


class MachineTypeOut(serializers.ModelSerializer[MachineType]):
    """What machines of one construction can set."""

    abilities = AbilityOut(many=True, read_only=True)

    class Meta:
        """What is shown."""

        model = MachineType
        fields = ["id", "name", "ends_by", "abilities", "revision"]


class AbilityIn(serializers.Serializer[dict[str, Any]]):
    """One parameter and its reach."""

    parameter = serializers.CharField(max_length=40)
    minimum = PlainDecimal()
    maximum = PlainDecimal()
    resolution = PlainDecimal()


class MachineTypeIn(serializers.Serializer[dict[str, Any]]):
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


class MachineTypes(Listing):
    """What machines of each construction can set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.SITE_EDIT
    acting_everywhere = True

    @extend_schema(responses=MachineTypeOut(many=True))
    def get(self, request: Request) -> Response:
        """List sets, newest first."""
        return listed(self, MachineType.objects.prefetch_related("abilities"), MachineTypeOut)

    @extend_schema(request=MachineTypeIn, responses={201: MachineTypeOut})
    @acting
    def post(self, request: Request) -> Response:
        """Add a set."""
        made = add_machine_type(by=person(request), **valid(MachineTypeIn, request))
        return tagged(request, made, MachineTypeOut(made).data, 201)


class OneMachineType(GuardedView):
    """One set."""

    verb = Verb.EQUIPMENT_VIEW
    acting_verb = Verb.SITE_EDIT
    acting_everywhere = True

    @extend_schema(responses=MachineTypeOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a set."""
        shown = one_or_404(MachineType.objects.all(), pk=pk)
        return tagged(request, shown, MachineTypeOut(shown).data)

    @extend_schema(request=MachineTypeIn, responses=MachineTypeOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Replace a set."""
        shown = one_or_404(MachineType.objects.all(), pk=pk)
        body = valid(MachineTypeIn, request)
        seen = expected_revision(request, shown)
        change_machine_type(by=person(request), machine_type=shown, revision=seen, **body)
        return tagged(request, shown, MachineTypeOut(shown).data)
