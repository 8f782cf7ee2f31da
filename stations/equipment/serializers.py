"""Sites, machines and stations as the API shows and takes them. Numbers are text."""

from typing import Any

from rest_framework import serializers

from stations.equipment.bounds import ALTITUDE, OFFSET, PULSES
from stations.equipment.models import Machine, Site, Station
from web.fields import PlainDecimal


class IdField(serializers.IntegerField):
    """An id of another thing."""

    def __init__(self) -> None:
        super().__init__(min_value=1, max_value=2**62)


class SiteOut(serializers.ModelSerializer[Site]):
    """A bar; altitude in m, the barometer's air pressure in hPa, water boiling at °C."""

    altitude = PlainDecimal(read_only=True)
    air_pressure = PlainDecimal(read_only=True, allow_null=True)
    boiling_point = serializers.SerializerMethodField()

    class Meta:
        """What is shown."""

        model = Site
        fields = [
            "id", "code", "name", "time_zone", "altitude", "air_pressure", "boiling_point",
            "revision",
        ]  # fmt: skip

    def get_boiling_point(self, site: Site) -> str:
        """By the barometer where there is a reading, else by the altitude."""
        return str(site.boiling_point)


class SiteChange(serializers.Serializer[dict[str, Any]]):
    """All of a bar that can be edited."""

    name = serializers.CharField(max_length=80)
    time_zone = serializers.CharField(max_length=60)
    altitude = PlainDecimal(bounds=ALTITUDE)


class SiteIn(SiteChange):
    """A bar to add."""

    code = serializers.CharField(max_length=20)


class MachineOut(serializers.ModelSerializer[Machine]):
    """A machine; its site by code and its type by id."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)

    class Meta:
        """What is shown."""

        model = Machine
        fields = ["id", "site", "name", "machine_type", "revision"]


class MachineChange(serializers.Serializer[dict[str, Any]]):
    """All of a machine that can be edited."""

    name = serializers.CharField(max_length=80)
    machine_type = IdField()


class MachineIn(MachineChange):
    """A machine to add."""

    site = serializers.CharField(max_length=20)


class StationOut(serializers.ModelSerializer[Station]):
    """A station; pulses per mL, and °C measured minus °C set; null: not measured."""

    site = serializers.CharField(source="machine.site.code", read_only=True)
    pulses_per_millilitre = PlainDecimal(read_only=True, allow_null=True)
    temperature_offset = PlainDecimal(read_only=True, allow_null=True)
    slots = serializers.IntegerField(source="slot_count", read_only=True)

    class Meta:
        """What is shown."""

        model = Station
        fields = [
            "id", "site", "machine", "number", "code", "pulses_per_millilitre",
            "temperature_offset", "slots", "revision",
        ]  # fmt: skip


class StationIn(serializers.Serializer[dict[str, Any]]):
    """A station to add, with its slots. A figure that is not usual takes a reason."""

    machine = IdField()
    number = serializers.IntegerField(min_value=1, max_value=99)
    slots = serializers.IntegerField(min_value=1, max_value=32)
    pulses_per_millilitre = PlainDecimal(
        bounds=PULSES, allow_null=True, required=False, default=None
    )
    temperature_offset = PlainDecimal(bounds=OFFSET, allow_null=True, required=False, default=None)
    reason = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class SlotTotalIn(serializers.Serializer[dict[str, Any]]):
    """How many slots a station is to have."""

    total = serializers.IntegerField(min_value=1, max_value=32)
