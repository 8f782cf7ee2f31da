"""Sites, machines, abilities and stations as the API shows and takes them. Numbers are text."""

from typing import Any

from rest_framework import serializers

from stations.equipment.boiling import boiling_point
from stations.equipment.checks import ALTITUDE, OFFSET, PULSES
from stations.equipment.models import Ability, AbilitySet, Machine, Site, Station
from stations.machine_types.actions import Reach
from stations.machine_types.catalogue import unit_of
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
        return str(boiling_point(site))


class SiteChange(serializers.Serializer[dict[str, Any]]):
    """All of a bar that can be edited."""

    name = serializers.CharField(max_length=80)
    time_zone = serializers.CharField(max_length=60)
    altitude = PlainDecimal(bounds=ALTITUDE)


class SiteIn(SiteChange):
    """A bar to add."""

    code = serializers.CharField(max_length=20)


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


class AbilitySetOut(serializers.ModelSerializer[AbilitySet]):
    """What machines of one construction can set."""

    abilities = AbilityOut(many=True, read_only=True)

    class Meta:
        """What is shown."""

        model = AbilitySet
        fields = ["id", "name", "ends_by", "abilities", "revision"]


class AbilityIn(serializers.Serializer[dict[str, Any]]):
    """One parameter and its reach."""

    parameter = serializers.CharField(max_length=40)
    minimum = PlainDecimal()
    maximum = PlainDecimal()
    resolution = PlainDecimal()


class AbilitySetIn(serializers.Serializer[dict[str, Any]]):
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


class MachineOut(serializers.ModelSerializer[Machine]):
    """A machine; its site by code and its abilities by id."""

    site = serializers.SlugRelatedField[Site](slug_field="code", read_only=True)

    class Meta:
        """What is shown."""

        model = Machine
        fields = ["id", "site", "name", "abilities", "revision"]


class MachineChange(serializers.Serializer[dict[str, Any]]):
    """All of a machine that can be edited."""

    name = serializers.CharField(max_length=80)
    abilities = IdField()


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


class StationChange(serializers.Serializer[dict[str, Any]]):
    """All of a station that can be edited."""

    pulses_per_millilitre = PlainDecimal(bounds=PULSES, allow_null=True)
    temperature_offset = PlainDecimal(bounds=OFFSET, allow_null=True)


class StationIn(serializers.Serializer[dict[str, Any]]):
    """A station to add, with its slots."""

    machine = IdField()
    number = serializers.IntegerField(min_value=1, max_value=99)
    slots = serializers.IntegerField(min_value=1, max_value=32)
    pulses_per_millilitre = PlainDecimal(
        bounds=PULSES, allow_null=True, required=False, default=None
    )
    temperature_offset = PlainDecimal(bounds=OFFSET, allow_null=True, required=False, default=None)


class SlotTotalIn(serializers.Serializer[dict[str, Any]]):
    """How many slots a station is to have."""

    total = serializers.IntegerField(min_value=1, max_value=32)


class ImportIn(serializers.Serializer[dict[str, Any]]):
    """A CSV file as text; with ``preview`` nothing is written."""

    csv = serializers.CharField(max_length=4_000_000, trim_whitespace=False)
    preview = serializers.BooleanField(default=False)


class ImportOut(serializers.Serializer[dict[str, Any]]):
    """What a file adds, and how many of its stations are there already."""

    sites = serializers.IntegerField()
    machines = serializers.IntegerField()
    stations = serializers.IntegerField()
    slots = serializers.IntegerField()
    unchanged = serializers.IntegerField()
