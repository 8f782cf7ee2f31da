"""Endpoints: what accepting a calibration changes, and the decision."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from people.signatures.fields import SignatureSerializer, note_signed
from people.tokens.models import Scope
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import RetranslationPlan, make_retranslation_plan
from stations.calibrations.actions import reject_calibration
from stations.calibrations.api import CalibrationOut
from stations.calibrations.models import Calibration
from web.api import GuardedView, checked, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting
from web.lookup import one_or_404


class SlotPlanOut(serializers.Serializer[Any]):
    """One slot: what it holds, and what accepting does to it.

    `outcome` is place, same, refuse, fall_back or leave. A slot on a deviation permit keeps its
    settings `until` that ends; `old` and `new` are then what it falls back to.
    """

    slot = serializers.IntegerField()
    placement = serializers.IntegerField()
    outcome = serializers.CharField()
    old = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    new = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    reasons = serializers.ListField(child=serializers.CharField())
    until = serializers.DateTimeField(allow_null=True)


class WaitingPlanOut(serializers.Serializer[Any]):
    """One slot with a publication ahead: what is scheduled there, and what accepting does to it.

    `outcome` is place (translated anew for the same moment), same, or refuse (withdrawn).
    """

    slot = serializers.IntegerField()
    placement = serializers.IntegerField()
    due_at = serializers.DateTimeField()
    waits_for = serializers.CharField(help_text="beside that moment, in words; empty for nothing")
    outcome = serializers.CharField()
    old = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    new = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    reasons = serializers.ListField(child=serializers.CharField())


class CalibrationPlanOut(serializers.Serializer[Any]):
    """What accepting changes; sign its digest. `waiting` are slots with a publication ahead.

    Where there are `concerns`, accepting takes a reason.
    """

    digest = serializers.CharField()
    slots = SlotPlanOut(many=True)
    waiting = WaitingPlanOut(many=True)
    concerns = serializers.ListField(child=serializers.CharField())


class CalibrationAcceptIn(SignatureSerializer):
    """The signature over a plan that was seen."""

    seen_digest = serializers.RegexField(r"^[0-9a-f]{64}$")
    reason = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class CalibrationRejectIn(serializers.Serializer[Any]):
    """Why it is not taken over."""

    reason = serializers.CharField(max_length=2000)


class OneCalibration(GuardedView):
    """One calibration."""

    verb = Verb.EQUIPMENT_VIEW

    @extend_schema(responses=CalibrationOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it."""
        return _answer(request, _found(request, pk))


class CalibrationPlan(GuardedView):
    """What accepting would change. Writes nothing."""

    verb = Verb.CALIBRATION_RECORD

    @extend_schema(responses=CalibrationPlanOut)
    def get(self, request: Request, pk: int) -> Response:
        """Work it out; its digest is what it is signed over."""
        found = _found(request, pk, Verb.CALIBRATION_RECORD)
        plan = make_retranslation_plan(calibration=found, by=person(request))
        return Response(_planned(plan))


class CalibrationAccept(GuardedView):
    """Taking a calibration over."""

    verb = Verb.CALIBRATION_RECORD
    acting_scope = Scope.SIGN

    @extend_schema(request=CalibrationAcceptIn, responses=CalibrationOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Sign it and translate the station's slots anew."""
        found = _found(request, pk, Verb.CALIBRATION_RECORD)
        seen = expected_revision(request, found)
        body = checked(CalibrationAcceptIn, request)
        given: dict[str, Any] = body.validated_data
        accept_calibration(
            by=person(request),
            calibration=found,
            revision=seen,
            seen=given["seen_digest"],
            credentials=body.credentials(request),
            reason=given["reason"],
        )
        note_signed(request)
        return _answer(request, _found(request, pk))


class CalibrationReject(GuardedView):
    """Not taking it over."""

    verb = Verb.CALIBRATION_RECORD

    @extend_schema(request=CalibrationRejectIn, responses=CalibrationOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Say why; the station keeps its values."""
        found = _found(request, pk, Verb.CALIBRATION_RECORD)
        seen, reason = (
            expected_revision(request, found),
            valid(CalibrationRejectIn, request)["reason"],
        )
        reject_calibration(calibration=found, revision=seen, reason=reason, by=person(request))
        return _answer(request, _found(request, pk))


def _found(request: Request, pk: int, verb: Verb = Verb.EQUIPMENT_VIEW) -> Calibration:
    return one_or_404(Calibration.objects.covered_by(person(request), verb).with_place(), pk)


def _answer(request: Request, found: Calibration) -> Response:
    return tagged(request, found, CalibrationOut(found).data)


def _planned(plan: RetranslationPlan) -> dict[str, Any]:
    return {
        "digest": plan.digest,
        "slots": [
            {
                "slot": line.slot.pk,
                "placement": line.held.pk if line.held else None,
                "outcome": str(line.outcome),
                "old": line.replaced.settings.values,
                "new": line.translation.values if line.translation else {},
                "reasons": list(line.reasons),
                "until": line.until,
            }
            for line in plan.lines
        ],
        "waiting": [
            {
                "slot": line.slot.pk,
                "placement": line.replaced.pk,
                "due_at": line.replaced.due_at,
                "waits_for": line.replaced.waits_for,
                "outcome": str(line.outcome),
                "old": line.replaced.settings.values,
                "new": line.translation.values if line.translation else {},
                "reasons": list(line.reasons),
            }
            for line in plan.waiting
        ],
        "concerns": plan.concerns,
    }
