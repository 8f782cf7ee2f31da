"""Endpoints: deviation permits."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from people.signatures.fields import SignatureSerializer, note_signed
from people.tokens.models import Scope
from recipes.formula.fields import MomentField
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS, SetBy
from recipes.permits.actions import Answers, end, grant, must_cover
from recipes.permits.models import Permit, PermitChange, PermitQuerySet, PermitSlot
from recipes.permits.plan import make_permit_plan
from recipes.publishing.serializers import ReasonIn
from recipes.requests.models import ChangeRequest
from web.access import noting_refusal
from web.api import GuardedView, Listing, checked, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.fields import ID
from web.idempotency import acting
from web.lookup import named, one_or_404
from web.numbers import BadNumber, read_number


class PermitPlanIn(serializers.Serializer[Any]):
    """Which slots, which parameters in the recipe's unit, until when."""

    slots = serializers.ListField(
        child=serializers.IntegerField(**ID), min_length=1, max_length=1000
    )
    changes = serializers.DictField(child=serializers.CharField(max_length=40))
    ends_at = MomentField()


class PermitIn(PermitPlanIn, SignatureSerializer):
    """A permit's plan that was seen, and the signature over it."""

    reason = serializers.CharField(max_length=2000)
    seen_digest = serializers.RegexField(r"^[0-9a-f]{64}$")
    acknowledged = serializers.BooleanField(default=False)
    request = serializers.IntegerField(
        required=False, help_text="The id of the request that it answers.", **ID
    )
    request_revision = serializers.IntegerField(
        required=False, min_value=1, max_value=2_000_000_000,
        help_text="Its revision as it was read: needed with it.",
    )  # fmt: skip


class PermitSlotPlanOut(serializers.Serializer[Any]):
    """One slot under the permit."""

    slot = serializers.IntegerField()
    holds = serializers.CharField(allow_blank=True)
    settings = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    reasons = serializers.ListField(child=serializers.CharField())


class PermitPlanOut(serializers.Serializer[Any]):
    """A permit's plan; sign its digest."""

    digest = serializers.CharField()
    to_acknowledge = serializers.ListField(child=serializers.CharField())
    boiling = serializers.DictField(
        child=serializers.DecimalField(max_digits=5, decimal_places=1),
        help_text="Site code to °C at which water boils there",
    )
    slots = PermitSlotPlanOut(many=True)


class PermitOut(serializers.ModelSerializer[Permit]):
    """A permit."""

    slots = serializers.SerializerMethodField()
    changes = serializers.SerializerMethodField()
    acknowledgement = serializers.SerializerMethodField()
    signed_by = serializers.CharField(source="signature.name")
    signed_at = serializers.DateTimeField(source="signature.at")

    class Meta:
        model = Permit
        fields = [
            "id", "state", "reason", "ends_at", "granted_at", "ended_at", "plan_digest",
            "acknowledgement", "request", "slots", "changes", "signed_by", "signed_at",
        ]  # fmt: skip

    def get_slots(self, permit: Permit) -> list[int]:
        """Ids of the slots it names."""
        rows: list[PermitSlot] = list(permit.slots.all())
        return [row.slot_id for row in rows]

    def get_acknowledgement(self, permit: Permit) -> str:
        """What was flagged and accepted by name, at sites you cover."""
        rows: list[PermitSlot] = list(permit.slots.all())
        return "\n".join(permit.accepted_for([row.slot for row in rows]))

    def get_changes(self, permit: Permit) -> dict[str, str]:
        """Values by parameter code, exact."""
        rows: list[PermitChange] = list(permit.changes.all())
        return {
            row.code: row.text if row.target is None else format(row.target, "f") for row in rows
        }


def changes_from(given: dict[str, str]) -> dict[str, Decimal | str]:
    """Read each value by its parameter. Raises Invalid naming parameter, value and range."""
    return {code: _change(code, text) for code, text in given.items()}


def _change(code: str, text: str) -> Decimal | str:
    parameter = PARAMETERS.get(code)
    if parameter is None or parameter.set_by is not SetBy.MACHINE:
        settable = [each.code for each in PARAMETERS.values() if each.set_by is SetBy.MACHINE]
        raise Invalid("changes", code, "one of " + ", ".join(settable))
    if parameter.choices:
        if text not in dict(parameter.choices):
            raise Invalid(code, text, "one of " + ", ".join(dict(parameter.choices)))
        return text
    try:
        return read_number(text, target_bounds(parameter))
    except BadNumber as bad:
        raise Invalid(code, text, target_bounds(parameter).words()) from bad


class PermitPlanning(GuardedView):
    """What a permit would make its slots hold. Writes nothing."""

    verb = Verb.PERMIT_GRANT

    @extend_schema(request=PermitPlanIn, responses=PermitPlanOut)
    def post(self, request: Request) -> Response:
        """Work out a permit; its digest is what it is signed over."""
        given = valid(PermitPlanIn, request)
        plan = make_permit_plan(
            slots=given["slots"],
            changes=changes_from(given["changes"]),
            ends_at=given["ends_at"],
            by=person(request),
        )
        slots = [
            {
                "slot": line.slot.pk,
                "holds": line.held.settings.title if line.held else "",
                "settings": line.translation.values if line.translation else {},
                "reasons": list(line.reasons),
            }
            for line in plan.lines
        ]
        return Response({
            "digest": plan.digest,
            "to_acknowledge": plan.to_acknowledge,
            "boiling": {site.code: str(point) for site, point, _ in plan.boiling},
            "slots": slots,
        })  # fmt: skip


class Permits(Listing):
    """Permits for slots this person may see."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.PERMIT_GRANT
    acting_scope = Scope.SIGN

    @extend_schema(responses=PermitOut(many=True))
    def get(self, request: Request) -> Response:
        """List them, the newest first."""
        return listed(self, _seen(request), PermitOut)

    @extend_schema(request=PermitIn, responses={201: PermitOut})
    @acting
    def post(self, request: Request) -> Response:
        """Sign a permit whose plan was seen, named by its digest."""
        body = checked(PermitIn, request)
        given: dict[str, Any] = body.validated_data
        made = grant(
            by=person(request),
            slots=given["slots"],
            changes=changes_from(given["changes"]),
            ends_at=given["ends_at"],
            seen=given["seen_digest"],
            reason=given["reason"],
            credentials=body.credentials(request),
            acknowledged=given["acknowledged"],
            answers=_answers(request, given),
        )
        note_signed(request)
        return _answer(request, made.pk, status=201)


class OnePermit(GuardedView):
    """One permit."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=PermitOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it."""
        return _answer(request, pk)


class PermitEnd(GuardedView):
    """Ending a permit before its time."""

    verb = Verb.PERMIT_END

    @extend_schema(request=ReasonIn, responses=PermitOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """End it, if it is still as it was read."""
        who = person(request)
        permit = one_or_404(Permit.objects.covered_by(who), pk)
        with noting_refusal(request):
            must_cover(permit, who)
        revision = expected_revision(request, permit)
        end(by=who, permit=permit, revision=revision, reason=valid(ReasonIn, request)["reason"])
        return _answer(request, pk)


def _answers(request: Request, given: dict[str, Any]) -> Answers | None:
    """The request that is named. Raises Invalid where it or its revision is not."""
    if "request" not in given:
        return None
    if "request_revision" not in given:
        raise Invalid("request_revision", None, "the revision of the request, as it was read")
    rows = ChangeRequest.objects.covered_by(person(request), Verb.REQUEST_DECIDE).with_base()
    asked = named(rows, "request", given["request"], pk=given["request"])
    return Answers(asked, given["request_revision"])


def _seen(request: Request) -> PermitQuerySet:
    """Permits that name a slot this person may see, with what an answer holds."""
    who = person(request)
    return Permit.objects.covered_by(who).with_slots_for(who).select_related("signature")


def _answer(request: Request, pk: int, status: int = 200) -> Response:
    permit = one_or_404(_seen(request), pk)
    return tagged(request, permit, PermitOut(permit).data, status=status)
