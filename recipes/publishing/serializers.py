"""What the publishing endpoints take, and what they answer of a plan."""

from typing import Any

from rest_framework import serializers

from people.signatures.fields import SignatureSerializer
from recipes.formula.fields import MomentField
from recipes.publishing.hindered import Hindered, hindrances
from recipes.publishing.plan import PublicationPlan
from recipes.publishing.replaced import ended_permits, replaced
from recipes.publishing.scope import Where
from recipes.publishing.summary import site_parts, water_beside
from recipes.station_water.cup import Expected
from web.fields import ID

WORDS = 2000


class PlanIn(serializers.Serializer[Any]):
    """Which version goes where, and when.

    A `date` and `time` are by each site's clock; with a `lot` each site begins when it opens that
    one, at once where it has; with neither it is at once everywhere. Which slots is said by
    `slot_numbers`, `holds` or both, or else by `every_slot`.
    """

    version = serializers.IntegerField(**ID)
    where = serializers.ChoiceField([where.value for where in Where])
    ids = serializers.ListField(
        child=serializers.IntegerField(**ID), required=False, max_length=20_000
    )
    slot_numbers = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=99), required=False, max_length=99
    )
    holds = serializers.IntegerField(
        required=False, allow_null=True,
        help_text="The id of a recipe: only slots in which one of its versions is in force.", **ID
    )  # fmt: skip
    every_slot = serializers.BooleanField(
        default=False, help_text="Every slot there: no plan is for every slot by itself."
    )
    date = serializers.DateField(required=False, allow_null=True)
    time = serializers.TimeField(required=False, allow_null=True)
    lot = serializers.IntegerField(
        required=False, allow_null=True, help_text="The id of a roast lot of its coffee.", **ID
    )
    site = serializers.IntegerField(
        required=False, help_text="The site whose slots the plan lists one by one.", **ID
    )


class PublicationIn(PlanIn, SignatureSerializer):
    """A plan that was seen, and the signature over it."""

    reason = serializers.CharField(max_length=WORDS)
    seen_digest = serializers.RegexField(r"^[0-9a-f]{64}$")
    acknowledged = serializers.BooleanField(default=False)
    learnt_until = MomentField(
        required=False, allow_null=True, default=None,
        help_text="The plan's own, where it has one: shots logged since then move nothing.",
    )  # fmt: skip


class ReasonIn(serializers.Serializer[Any]):
    """Why."""

    reason = serializers.CharField(max_length=WORDS)


class PlanSiteOut(serializers.Serializer[Any]):
    """One site's share of a plan."""

    site = serializers.IntegerField(source="site.pk")
    name = serializers.CharField(source="site.name")
    due_at = serializers.DateTimeField(source="due.at")
    waits = serializers.BooleanField(
        source="due.waits", help_text="Until the site opens the lot: `due_at` is the earliest."
    )
    note = serializers.CharField(source="due.note")
    place = serializers.IntegerField()
    same = serializers.IntegerField()
    refuse = serializers.IntegerField()
    boiling = serializers.DecimalField(
        max_digits=5, decimal_places=1, help_text="°C, where water boils at the site"
    )
    margin = serializers.DecimalField(
        max_digits=5, decimal_places=1, allow_null=True,
        help_text="K that the brew temperature lies below it; null where none is stated",
    )  # fmt: skip


class PlanWaterOut(serializers.Serializer[Any]):
    """A site of the plan whose water differs much from the others', and in what.

    `not_read` names what others' readings have and this site's lacks.
    """

    site = serializers.IntegerField(source="site.pk")
    name = serializers.CharField(source="site.name")
    taken_on = serializers.DateField()
    differs_in = serializers.ListField(child=serializers.CharField(), source="words")
    not_read = serializers.ListField(child=serializers.CharField(), source="unread")


class ExpectedOut(serializers.Serializer[Any]):
    """By a station's own water [mL]: beverage mass [g] and the next cup's 95 % interval."""

    water = serializers.DecimalField(max_digits=9, decimal_places=3)
    mass = serializers.DecimalField(max_digits=7, decimal_places=1)
    low = serializers.DecimalField(max_digits=7, decimal_places=1)
    high = serializers.DecimalField(max_digits=7, decimal_places=1)
    learnt = serializers.BooleanField(help_text="From check shots; else by common practice.")
    used = serializers.IntegerField(help_text="How many check shots.")


class PlanSlotOut(serializers.Serializer[Any]):
    """One slot of a plan; values as control settings keep them.

    `expected` is null unless the recipe leaves the water to the stations. `variant` is the machine
    type whose variant of the version it gets, null for the whole formula.
    """

    slot = serializers.IntegerField()
    place = serializers.CharField()
    holds = serializers.CharField(allow_blank=True)
    outcome = serializers.ChoiceField(["place", "same", "refuse"])
    reasons = serializers.ListField(child=serializers.CharField())
    settings = serializers.DictField(child=serializers.DictField(child=serializers.CharField()))
    expected = ExpectedOut(allow_null=True)
    variant = serializers.IntegerField(allow_null=True)


class ReplacedOut(serializers.Serializer[Any]):
    """What slots to be placed hold now: the version, or what else there is."""

    what = serializers.CharField()
    slots = serializers.IntegerField()
    other_recipe = serializers.BooleanField(source="other")


class RefusedMachineOut(serializers.Serializer[Any]):
    """A machine with slots that the plan refuses; `ways_out` is what can be done about it."""

    machine = serializers.IntegerField(source="machine.pk")
    name = serializers.SerializerMethodField()
    slots = serializers.IntegerField()
    reasons = serializers.SerializerMethodField()
    ways_out = serializers.SerializerMethodField()

    def get_name(self, row: Hindered) -> str:
        """Site and machine."""
        return f"{row.machine.site} · {row.machine}"

    def get_reasons(self, row: Hindered) -> list[str]:
        """Sentences: what its type can't do, then what is this machine's own."""
        return [*row.cannot, *row.reasons]

    def get_ways_out(self, row: Hindered) -> list[str]:
        """Sentences."""
        return [way.words for way in row.ways]


class PlanOut(serializers.Serializer[Any]):
    """A plan; sign its digest."""

    digest = serializers.CharField()
    scope = serializers.CharField()
    to_acknowledge = serializers.ListField(child=serializers.CharField())
    learnt_until = serializers.DateTimeField(
        allow_null=True, help_text="Shots logged before it were learnt from; sign with it."
    )
    replaces = ReplacedOut(many=True)
    ends_permits = serializers.ListField(
        child=serializers.IntegerField(), help_text="Deviation permits that end in some slots."
    )
    refused_machines = RefusedMachineOut(many=True, help_text="The first sixty.")
    sites = PlanSiteOut(many=True)
    water = PlanWaterOut(many=True)
    slots = PlanSlotOut(many=True)


def plan_as_json(plan: PublicationPlan, site_id: int | None) -> dict[str, Any]:
    """The plan, with the slots of one site listed when asked for."""
    slots = [
        {
            "slot": line.slot.pk,
            "place": line.slot.place,
            "holds": line.held.title if line.held else "",
            "outcome": line.outcome.value,
            "reasons": list(line.reasons),
            "settings": plan.stations[line.slot.station_id].values,
            "expected": expected_json(plan.stations[line.slot.station_id].expected),
            "variant": plan.stations[line.slot.station_id].variant,
        }
        for line in plan.lines
        if line.slot.site_id == site_id
    ]
    return {
        "digest": plan.digest,
        "scope": plan.scope_label,
        "to_acknowledge": plan.to_acknowledge,
        "learnt_until": plan.learnt_until,
        "replaces": ReplacedOut(replaced(plan), many=True).data,
        "ends_permits": [each.pk for each in ended_permits(plan.to_place, plan.site_names)],
        "refused_machines": RefusedMachineOut(
            [each for one in hindrances(plan).types for each in one.machines], many=True
        ).data,
        "sites": PlanSiteOut(site_parts(plan), many=True).data,
        "water": PlanWaterOut(water_beside(plan), many=True).data,
        "slots": slots,
    }


def expected_json(found: Expected | None) -> dict[str, Any] | None:
    """What is expected in the cup, as an answer holds it."""
    return None if found is None else dict(ExpectedOut(found).data)
