"""What gateways send and are answered, as the API's description has it."""

from typing import Any

from rest_framework import serializers

from stations.slots.serializers import ProblemOut


class JwkIn(serializers.Serializer[dict[str, Any]]):
    """An Ed25519 public key (RFC 8037)."""

    kty = serializers.ChoiceField(choices=["OKP"])
    crv = serializers.ChoiceField(choices=["Ed25519"])
    x = serializers.CharField(max_length=43, min_length=43)


class EnrolIn(serializers.Serializer[dict[str, Any]]):
    """A program that is to be the gateway of this code."""

    code = serializers.CharField(max_length=40)
    public_key = JwkIn()
    name = serializers.CharField(max_length=60, help_text="What the program calls itself.")
    version = serializers.CharField(max_length=40)
    driver = serializers.CharField(max_length=60)


class GatewayLimitsOut(serializers.Serializer[Any]):
    """How much and how often."""

    events = serializers.IntegerField(help_text="events of a batch, at most")
    bytes = serializers.IntegerField(help_text="of a body as sent, at most")
    unpacked = serializers.IntegerField(help_text="bytes of a body after gzip, at most")
    requests = serializers.CharField(help_text="of one gateway, at most")
    next_poll = serializers.IntegerField(help_text="s between two questions")


class EnrolledOut(serializers.Serializer[Any]):
    """A gateway as it is named from here on."""

    gateway = serializers.IntegerField()
    keyid = serializers.CharField()
    source = serializers.CharField(  # type: ignore[assignment]  # Field has one of its own
        help_text="the `source` of its events"
    )
    site = serializers.CharField()
    limits = GatewayLimitsOut()


class KeyIn(serializers.Serializer[dict[str, Any]]):
    """A key to take the place of the one in use."""

    public_key = JwkIn()


class KeyOut(serializers.Serializer[Any]):
    """It counts as soon as it signs."""

    keyid = serializers.CharField()


class QuantityOut(serializers.Serializer[Any]):
    """A decimal or a word, and its UCUM code."""

    value = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)


class RangeOut(serializers.Serializer[Any]):
    """What the machine can be set to."""

    low = serializers.CharField()
    high = serializers.CharField()
    step = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)


class SignedOut(serializers.Serializer[Any]):
    """The digest of the plan that was signed, and the number of its signature in the history."""

    digest = serializers.CharField()
    signature = serializers.IntegerField()


class SlotServedOut(serializers.Serializer[Any]):
    """What one slot should hold."""

    slot = serializers.IntegerField()
    machine = serializers.CharField()
    station = serializers.IntegerField()
    number = serializers.IntegerField()
    placement = serializers.IntegerField(allow_null=True)
    title = serializers.CharField(allow_blank=True)
    locked = serializers.BooleanField(help_text="signed: to be loaded; otherwise set by hand")
    settings = serializers.DictField(child=QuantityOut())
    ranges = serializers.DictField(child=RangeOut())
    digest = serializers.CharField(help_text="SHA-256 over RFC 8785 of placement, settings, slot")
    signed = SignedOut(allow_null=True)
    restore = serializers.CharField(
        allow_null=True,
        help_text="to be loaded again although it was: once for each text that stands here",
    )
    problem = serializers.CharField(allow_blank=True, help_text="why nothing may be loaded")


class SettingsServedOut(serializers.Serializer[Any]):
    """What the slots of the gateway's site should hold."""

    site = serializers.CharField()
    cursor = serializers.CharField()
    whole = serializers.BooleanField(help_text="every slot; otherwise those that changed")
    next_poll = serializers.IntegerField(help_text="s")
    slots = SlotServedOut(many=True)


class SinceIn(serializers.Serializer[dict[str, Any]]):
    """Where the gateway stands."""

    since = serializers.RegexField(
        r"^[0-9a-f]{32}$", required=False, help_text="a cursor, as an answer gave it"
    )


class EventIn(serializers.Serializer[Any]):
    """A CloudEvent 1.0; its schema, and that of each type's data, is at schemas/."""

    specversion = serializers.ChoiceField(choices=["1.0"])
    id = serializers.UUIDField()
    source = serializers.CharField(help_text="the gateway's")  # type: ignore[assignment]
    type = serializers.CharField()
    time = serializers.DateTimeField(help_text="by the gateway's clock")
    sequence = serializers.CharField(help_text="from 1, one more each")
    datacontenttype = serializers.ChoiceField(choices=["application/json"], required=False)
    dataschema = serializers.CharField(required=False)
    data = serializers.JSONField()  # type: ignore[assignment]  # Serializer has one of its own


class RefusedOut(serializers.Serializer[Any]):
    """An event that was not taken; it is kept and need not be sent again."""

    id = serializers.UUIDField(source="event.id")
    sequence = serializers.CharField(source="event.sequence")
    problems = ProblemOut(many=True)


class OutcomeOut(serializers.Serializer[Any]):
    """What became of a batch, and where the gateway stands."""

    taken = serializers.IntegerField()
    repeated = serializers.IntegerField()
    refused = RefusedOut(many=True)
    through = serializers.IntegerField(help_text="the last sequence without a gap before it")
    last = serializers.IntegerField(help_text="the highest sequence that came")
    missing = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField()),
        help_text="from and to of each gap after `through`; the first 50",
    )
    offset = serializers.FloatField(help_text="s, its clock minus ours, as measured")
    clock_is_wrong = serializers.BooleanField(help_text="more than 5 s")
    next_poll = serializers.IntegerField(help_text="s")
