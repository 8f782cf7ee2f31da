"""Slots, what they should hold and were found to hold, as the API shows and takes them."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from people.signatures.fields import SignatureOut
from stations.slots.models import Placement, ReadBack
from web.text import printable

PROBLEM = "why the settings are withheld: they are not what was signed; empty where they are"


class ValueOut(serializers.Serializer[dict[str, str]]):
    """A setting in the machine's own unit (UCUM; empty for a word)."""

    value = serializers.CharField()
    unit = serializers.CharField()


class PlacementOut(serializers.ModelSerializer[Placement]):
    """What a slot should hold (or held), since when, on whose signature."""

    title = serializers.CharField(source="settings.title")
    settings = serializers.DictField(child=ValueOut(), source="settings.values")
    content_digest = serializers.CharField(source="settings.content_digest")
    signature = SignatureOut(allow_null=True)
    problem = serializers.CharField(help_text=PROBLEM)
    waits_for = serializers.CharField(
        help_text="what it waits for beside the moment it is due, in words; empty for nothing"
    )

    class Meta:
        """What is shown."""

        model = Placement
        fields = [
            "id", "title", "basis", "basis_id", "state", "verdict", "due_at", "waits_for",
            "started_at", "ended_at", "settings", "problem", "content_digest", "signature",
        ]  # fmt: skip


class SlotOut(serializers.Serializer[Any]):
    """A slot and what is in force for it."""

    id = serializers.IntegerField(source="slot.pk")
    site = serializers.CharField(source="slot.station.machine.site.code")
    machine = serializers.IntegerField(source="slot.station.machine_id")
    station = serializers.IntegerField(source="slot.station_id")
    number = serializers.IntegerField(source="slot.number")
    condition = serializers.CharField()
    unverified_since = serializers.DateTimeField(
        allow_null=True,
        help_text="where a gateway should have read it lately and did not: since when, whatever"
        " the condition says",
    )
    locked = serializers.BooleanField()
    should_hold = PlacementOut(source="placement", allow_null=True)


class ReadBackOut(serializers.ModelSerializer[ReadBack]):
    """What a slot was found to hold, and the verdict on every setting."""

    by = serializers.CharField(source="who")

    class Meta:
        """What is shown."""

        model = ReadBack
        fields = ["id", "slot", "placement", "at", "by", "found", "verdicts", "verdict"]


class FoundField(serializers.DictField):
    """Codes and what the machine shows, as text or plain numbers."""

    def to_internal_value(self, data: Any) -> dict[str, str]:  # noqa: ANN401
        """As text, digit for digit. Raises ValidationError for anything but text and numbers."""
        kept = {}
        for code, value in super().to_internal_value(data).items():
            if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
                raise serializers.ValidationError({code: "text or a number"})
            if not printable(f"{code}{value}", lines=False):
                raise serializers.ValidationError("text of one line, without control characters")
            kept[str(code)] = str(value)
        if len(kept) > 100:
            raise serializers.ValidationError("at most 100 settings")
        return kept


class ReadBackIn(serializers.Serializer[dict[str, Any]]):
    """A read-back: the placement whose settings were looked at, and what the slot holds."""

    placement = serializers.IntegerField(min_value=1, max_value=2**62)
    found = FoundField()


class ReadingIn(ReadBackIn):
    """The same within a report of many."""

    slot = serializers.IntegerField(min_value=1, max_value=2**62)


class ReportIn(serializers.Serializer[dict[str, Any]]):
    """What a gateway found at its site."""

    read_backs = ReadingIn(many=True, min_length=1, max_length=1000)  # type: ignore[call-arg]


class ProblemOut(serializers.Serializer[Any]):
    """A value that could not be used."""

    field = serializers.CharField()
    value = serializers.CharField()
    allowed = serializers.CharField()


class ReportedOut(serializers.Serializer[Any]):
    """How one reading fared."""

    slot = serializers.IntegerField(source="reading.slot")
    placement = serializers.IntegerField(source="reading.placement")
    taken = serializers.BooleanField()
    verdict = serializers.CharField()
    verdicts = serializers.DictField(child=serializers.CharField(), allow_null=True)
    stale = serializers.CharField()
    problems = ProblemOut(many=True)


class ReportOut(serializers.Serializer[Any]):
    """The readings in the order they were sent."""

    read_backs = ReportedOut(many=True)


class ByHandIn(serializers.Serializer[dict[str, Any]]):
    """What an unlocked slot holds now, in the machine's own units."""

    values = FoundField()


class GatewaySlot(serializers.Serializer[Any]):
    """A slot as a gateway needs it; ``placement`` null: nothing is in force."""

    slot = serializers.IntegerField(source="slot.pk")
    machine = serializers.CharField(source="slot.station.machine.name")
    station = serializers.IntegerField(source="slot.station.number")
    number = serializers.IntegerField(source="slot.number")
    placement = serializers.IntegerField(source="placement.pk", default=None, allow_null=True)
    title = serializers.CharField()
    locked = serializers.BooleanField()
    settings = serializers.DictField(
        child=ValueOut(), source="placement.settings.values", default=dict
    )
    problem = serializers.CharField(help_text=f"{PROBLEM}. Load nothing into a slot that has one.")


class GatewaySettings(serializers.Serializer[Any]):
    """What every slot of a site should hold."""

    site = serializers.CharField()
    slots = GatewaySlot(many=True)
