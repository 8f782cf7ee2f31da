"""Endpoints: check shots and their corrections."""

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.equipment.models import Slot
from stations.grinders.actions import SETTING
from stations.grinders.models import Grinder
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import BOUNDS, LABELS, SAID, Weighed
from stations.shots.models import Body, CheckShot, Taste
from web.api import GuardedView, Listing, listed, person, valid
from web.fields import ID, PlainDecimal
from web.idempotency import acting
from web.lookup import named, one_or_404


class ShotOut(serializers.ModelSerializer[CheckShot]):
    """A check shot and its verdicts; g, s, and % dissolved solids."""

    by = serializers.CharField(source="who")
    dose_mass = PlainDecimal()
    beverage_mass = PlainDecimal()
    shot_time = PlainDecimal()
    strength = PlainDecimal(allow_null=True)
    grind_setting = PlainDecimal(allow_null=True)
    lot = serializers.SerializerMethodField()
    days_off_roast = serializers.IntegerField(allow_null=True)
    lot_state = serializers.ChoiceField(
        choices=["resting", "ready", "past"], allow_null=True,
        help_text="How that lot stood against its window when the shot was pulled.",
    )  # fmt: skip
    verdicts = serializers.DictField(child=serializers.CharField())
    verdict = serializers.CharField(help_text="within, outside or open (nothing to compare with)")

    class Meta:
        """What is shown."""

        model = CheckShot
        fields = ["id", "slot", "placement", "at", "by", *LABELS, "grinder", "grind_setting",
                  "opening", "lot", "days_off_roast", "lot_state", "taste", "body", "note",
                  "left_out", "verdicts", "verdict", "corrections"]  # fmt: skip

    @extend_schema_field(serializers.CharField(allow_null=True))
    def get_lot(self, shot: CheckShot) -> str | None:
        """Coffee and code of the lot that was open."""
        return str(shot.opening) if shot.opening else None


class ShotIn(serializers.Serializer[dict[str, Any]]):
    """What was weighed and timed."""

    dose_mass = PlainDecimal(bounds=BOUNDS[DOSE])
    beverage_mass = PlainDecimal(bounds=BOUNDS[BEVERAGE])
    shot_time = PlainDecimal(bounds=BOUNDS[SHOT_TIME])
    strength = PlainDecimal(bounds=BOUNDS["strength"], required=False, allow_null=True)
    grind_setting = PlainDecimal(bounds=SETTING, required=False, allow_null=True)
    taste = serializers.ChoiceField(choices=Taste.choices, required=False, allow_null=True)
    body = serializers.ChoiceField(choices=Body.choices, required=False, allow_null=True)
    note = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class NewShotIn(ShotIn):
    """A shot just pulled; `grinder` by its id, where it is not the usual one of the slot."""

    grinder = serializers.IntegerField(required=False, allow_null=True, default=None, **ID)


class CorrectionIn(ShotIn):
    """What it really was, why, and how often it had been corrected when it was read.

    Mark, taste and body stay as they are where they are left out.
    """

    left_out = serializers.BooleanField(default=False)
    reason = serializers.CharField(max_length=500)
    seen_corrections = serializers.IntegerField(min_value=0, max_value=30_000)


class Shots(Listing):
    """A slot's check shots."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.SHOT_LOG

    @extend_schema(responses=ShotOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List them, newest first."""
        rows = CheckShot.objects.filter(slot=_slot(request, pk)).select_related(
            "by", "gateway", "opening__site"
        )
        return listed(self, rows, ShotOut)

    @extend_schema(request=NewShotIn, responses={201: ShotOut})
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Log a shot pulled just now under what is in force."""
        slot, body = _slot(request, pk), valid(NewShotIn, request)
        grinder, serving = body.pop("grinder"), Grinder.objects.of_station(slot.station)
        made = log_shot(
            by=person(request),
            slot=slot,
            shot=Weighed(**body),
            grinder=named(serving, "grinder", grinder, pk=grinder) if grinder else None,
        )
        return _shown(request, made.pk, 201)


class OneShot(GuardedView):
    """One check shot."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=ShotOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read a shot as it stands after its corrections."""
        return _shown(request, pk)


class ShotCorrections(GuardedView):
    """Correcting a shot."""

    verb = Verb.SLOT_VIEW
    acting_verb = Verb.SHOT_LOG

    @extend_schema(request=CorrectionIn, responses=ShotOut)
    @acting
    def post(self, request: Request, pk: int) -> Response:
        """Say what a shot really was; 412 if it was corrected meanwhile."""
        shot = one_or_404(_shots(request), pk=pk)
        body = valid(CorrectionIn, request)
        seen, reason = body.pop("seen_corrections"), body.pop("reason")
        body = {name: getattr(shot, name) for name in SAID} | body
        correct_shot(
            by=person(request), shot=shot, seen_corrections=seen, to=Weighed(**body), reason=reason
        )
        return _shown(request, pk)


def _slot(request: Request, pk: int) -> Slot:
    slots = Slot.objects.covered_by(person(request))
    slot: Slot = one_or_404(slots.select_related("station__machine__site"), pk=pk)
    return slot


def _shots(request: Request) -> Any:  # noqa: ANN401 - a queryset of shots
    return CheckShot.objects.covered_by(person(request)).with_place()


def _shown(request: Request, pk: int, status: int = 200) -> Response:
    return Response(ShotOut(one_or_404(_shots(request), pk=pk)).data, status=status)
