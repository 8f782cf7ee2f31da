"""Endpoints: the group's policy."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from people.signatures.fields import SignatureOut, SignatureSerializer, note_signed
from web.api import GuardedView, checked, person
from web.etags import expected_revision, matching, tagged


class PolicyOut(serializers.ModelSerializer[Policy]):
    """The policy in force."""

    signature = SignatureOut(read_only=True, allow_null=True)

    class Meta:
        model = Policy
        fields = ["sole_roaster", "boiling", "revision", "signature"]


class PolicyIn(SignatureSerializer):
    """The policy to sign."""

    sole_roaster = serializers.BooleanField()
    boiling = serializers.ChoiceField(choices=Boiling.choices)


class PolicyInForce(GuardedView):
    """The policy in force: anybody signed in may read it, an owner sets it."""

    verb = Verb.RECIPE_VIEW
    acting_verb = Verb.POLICY_SET
    acting_everywhere = True
    in_person = True

    @extend_schema(responses=PolicyOut)
    def get(self, request: Request) -> Response:
        """Read it."""
        policy = Policy.current()
        return tagged(request, policy, PolicyOut(policy).data)

    @extend_schema(request=PolicyIn, responses=PolicyOut)
    @matching
    def put(self, request: Request) -> Response:
        """Sign a new one."""
        body = checked(PolicyIn, request)
        policy = set_policy(
            by=person(request),
            revision=expected_revision(request, Policy.current()),
            sole_roaster=body.validated_data["sole_roaster"],
            boiling=body.validated_data["boiling"],
            credentials=body.credentials(request),
        )
        note_signed(request)
        return tagged(request, policy, PolicyOut(policy).data)
