"""Endpoint: what to do after a check shot."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.advice.gathering import Advised, advice_on
from stations.advice.words import Told, tell
from stations.metrology.advising import Do, Why
from stations.shots.models import CheckShot
from web.api import GuardedView, person
from web.fields import PlainDecimal
from web.lookup import one_or_404
from web.numbers import rounded


class EffectOut(serializers.Serializer[Any]):
    """By how much the mean changes, with its 95 % interval; s, or g where time ends the shot."""

    value = PlainDecimal()
    low = PlainDecimal()
    high = PlainDecimal()


class AdviceOut(serializers.Serializer[Any]):
    """What to do after a shot, as a code and in words; null `do` where there is nothing to say.

    `marks_finer` is below 0 for coarser, `set_to` the grinder's new mark. `shots` says from how
    many it was learnt, 0 where the shot model says it.
    """

    do = serializers.ChoiceField(choices=[each.value for each in Do], allow_null=True)
    why = serializers.ChoiceField(choices=[each.value for each in Why], allow_null=True)
    words = serializers.CharField()
    detail = serializers.CharField()
    marks_finer = PlainDecimal(allow_null=True)
    set_to = PlainDecimal(allow_null=True)
    effect = EffectOut(allow_null=True)
    shots = serializers.IntegerField()


class ShotAdvice(GuardedView):
    """What to do after one check shot."""

    verb = Verb.SLOT_VIEW

    @extend_schema(responses=AdviceOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it; only the newest shot of a slot has any."""
        shots = CheckShot.objects.covered_by(person(request)).with_place()
        shot: CheckShot = one_or_404(shots, pk=pk)
        advised = advice_on(shot)
        return Response(AdviceOut(_shown(advised, tell(advised)) if advised else NOTHING).data)


NOTHING = {"do": None, "why": None, "words": "", "detail": "", "marks_finer": None, "set_to": None,
           "effect": None, "shots": 0}  # fmt: skip


def _shown(advised: Advised, told: Told) -> dict[str, object]:
    advice, effect = advised.advice, advised.advice.effect
    ends = {"value": effect.value, "low": effect.low, "high": effect.high} if effect else None
    return {
        "do": advice.do.value,
        "why": advice.why.value,
        "words": told.do,
        "detail": told.detail,
        "marks_finer": advised.marks_finer if advice.marks else None,
        "set_to": advised.new_setting,
        "effect": {name: rounded(value, 2) for name, value in ends.items()} if ends else None,
        "shots": advice.shots,
    }
