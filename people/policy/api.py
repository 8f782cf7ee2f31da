"""Endpoints: the group's policy."""

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Role, Verb
from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from people.policy.signing_rules import Rules, as_seen, rules_in_force
from people.signatures.fields import SignatureOut, SignatureSerializer, note_signed
from people.signatures.rules import Meaning, Need
from web.api import GuardedView, checked, person
from web.etags import expected_revision, matching, tagged


class RuleField(serializers.Serializer[dict[str, str]]):
    """Signatures with this meaning, or of this role, need this; an empty one stands for all."""

    meaning = serializers.ChoiceField(choices=Meaning.choices, allow_blank=True, default="")
    role = serializers.ChoiceField(choices=Role.choices, allow_blank=True, default="")
    needs = serializers.ChoiceField(choices=Need.choices)


class PolicyOut(serializers.ModelSerializer[Policy]):
    """The policy in force."""

    signature = SignatureOut(read_only=True, allow_null=True)
    signing = serializers.SerializerMethodField()
    witnesses = serializers.SerializerMethodField()

    class Meta:
        model = Policy
        fields = [
            "sole_roaster", "boiling", "signing", "witnesses", "witnesses_needed", "revision",
            "signature",
        ]  # fmt: skip

    def get_witnesses(self, policy: Policy) -> list[str]:
        """The keys of the witnesses it names."""
        return policy.witnesses.split("\n") if policy.witnesses else []

    @extend_schema_field(RuleField(many=True))
    def get_signing(self, policy: Policy) -> list[dict[str, str]]:
        """What signatures need."""
        return as_seen(rules_in_force())


class PolicyIn(SignatureSerializer):
    """The policy to sign."""

    sole_roaster = serializers.BooleanField()
    boiling = serializers.ChoiceField(choices=Boiling.choices)
    signing = RuleField(many=True, required=False)
    witnesses = serializers.ListField(child=serializers.CharField(), required=False)
    witnesses_needed = serializers.IntegerField(min_value=0, max_value=1000, required=False)
    acknowledged = serializers.BooleanField(default=False)


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
            rules=_rules(body.validated_data.get("signing")),
            acknowledged=body.validated_data["acknowledged"],
            witnesses=body.validated_data.get("witnesses"),
            witnesses_needed=body.validated_data.get("witnesses_needed"),
        )
        note_signed(request)
        return tagged(request, policy, PolicyOut(policy).data)


def _rules(given: list[dict[str, Any]] | None) -> Rules | None:
    """As the action takes them; None where they stay."""
    if given is None:
        return None
    return {(each["meaning"], each["role"]): str(each["needs"]) for each in given}
