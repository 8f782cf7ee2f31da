"""What machines can't do of a plan: a line for each machine, with the way out."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from recipes.planning.facts import Fact, SlotFact, SlotReason, words
from recipes.planning.plan import Outcome
from recipes.publishing.plan import PublicationLine, PublicationPlan
from recipes.station_water.cup import CupReason
from recipes.versions.models import Version
from stations.equipment.models import Machine
from stations.metrology.translation import Reason

SHOWN = 60  # machines; more are only counted
REASONS = 4  # of one machine


@dataclass(frozen=True, slots=True)
class Way:
    """What somebody can do about a refusal, and the page for it, where there is one."""

    words: str
    url: str = ""


@dataclass(frozen=True)
class Hindered:
    """One machine with slots that the plan refuses: why, and what can be done."""

    machine: Machine
    slots: int
    of: int  # in the plan at this machine
    cannot: list[str]  # as every machine of its type
    reasons: list[str]  # beyond that
    ways: list[Way]

    @property
    def shown(self) -> list[str]:
        """As many reasons as somebody reads."""
        return self.reasons[:REASONS]

    @property
    def more(self) -> int:
        """How many are left out of them."""
        return max(0, len(self.reasons) - REASONS)


@dataclass(frozen=True)
class TypeHindered:
    """What machines of one type can't do of the recipe, and those of them in the plan."""

    name: str
    cannot: list[str]
    machines: list[Hindered]


@dataclass(frozen=True)
class Hindrances:
    """Machine types with refusals; ``more`` machines than somebody reads are only counted."""

    types: list[TypeHindered]
    more: int


# What lies in the type itself, whatever station of it one asks.
OF_TYPE = (Reason.MISSING_ABILITY, Reason.ENDS_BY)
TIGHT = "A wider tolerance in the next version"
# What a formula for this type alone gets round.
VARIANT_HELPS = (*OF_TYPE, Reason.OUT_OF_RANGE)
WORDS: dict[str, str] = {
    Reason.TOO_COARSE: TIGHT,
    Reason.TOO_UNCERTAIN: "Measure its flow meter again, with more runs",
    Reason.NO_CALIBRATION: "Measure its flow meter",
    Reason.ABOVE_BOILING: "A lower temperature; or the owner lets it be accepted by name",
    Reason.NOT_STATED: "State the water volume in the next version",
    CupReason.NOT_HELD: TIGHT,
    CupReason.BEYOND: "State the water volume in the next version",
    SlotReason.PUBLICATION_WAITS: "Let publication {publication} finish, or cancel it there",
    SlotReason.PUBLICATION_DUE: "Let publication {publication} finish, or cancel it there",
}
MEASURED = (Reason.TOO_UNCERTAIN, Reason.NO_CALIBRATION)


def hindrances(plan: PublicationPlan) -> Hindrances:
    """Every refusal of a plan, by machine type and machine: one query."""
    lines: dict[int, list[PublicationLine]] = {}
    for line in plan.lines:
        lines.setdefault(line.slot.machine_id, []).append(line)
    refused = {
        pk: here
        for pk, here in lines.items()
        if any(line.outcome is Outcome.REFUSE for line in here)
    }
    ids = list(refused)[:SHOWN]
    machines = Machine.objects.select_related("site", "machine_type").filter(pk__in=ids)
    ordered = sorted(
        machines,
        key=lambda each: (each.machine_type.name, each.machine_type_id, ids.index(each.pk)),
    )
    types: dict[int, list[Machine]] = {}
    for machine in ordered:
        types.setdefault(machine.machine_type_id, []).append(machine)
    return Hindrances([_type(group, refused) for group in types.values()], len(refused) - len(ids))


def _type(machines: list[Machine], lines: dict[int, list[PublicationLine]]) -> TypeHindered:
    hindered = [_hindered(each, lines[each.pk]) for each in machines]
    cannot = _unique(sentence for each in hindered for sentence in each.cannot)
    return TypeHindered(machines[0].machine_type.name, cannot, hindered)


def _hindered(machine: Machine, lines: list[PublicationLine]) -> Hindered:
    refused = [line for line in lines if line.outcome is Outcome.REFUSE]
    pairs = [(fact, line.slot.station_id) for line in refused for fact in line.facts]
    varied = any(line.translation and line.translation.variant for line in refused)
    variant = _variant_way(refused[0].version, machine, varied=varied)
    cannot = _unique(_sentence(fact) for fact, _ in pairs if fact.kind in OF_TYPE)
    reasons = _unique(_sentence(fact) for fact, _ in pairs if fact.kind not in OF_TYPE)
    ways = list(
        dict.fromkeys(
            variant if fact.kind in VARIANT_HELPS else way_out(fact, station)
            for fact, station in pairs
        )
    )
    return Hindered(machine, len(refused), len(lines), cannot, reasons, ways)


def _variant_way(version: Version | None, machine: Machine, *, varied: bool) -> Way:
    """A formula for this type alone, in the next version."""
    if version is None:
        raise RuntimeError("a slot that is refused for its machine has a version")
    page = reverse("recipes:variants", args=[version.pk])
    words = "Change the variant for this type" if varied else "Add a variant for this type"
    return Way(words, f"{page}#type-{machine.machine_type_id}")


def way_out(fact: Fact, station_id: int) -> Way:
    """What can be done about one refusal."""
    said = WORDS.get(fact.kind, "Leave these slots out")
    if isinstance(fact, SlotFact):
        given = dict(fact.given)
        return Way(said.format(**given), reverse("recipes:publication", args=list(given.values())))
    if fact.kind in MEASURED:
        return Way(said, reverse("stations:calibration_new", args=[station_id]))
    return Way(said)


def _sentence(fact: Fact) -> str:
    said = words(fact)
    return said[:1].upper() + said[1:]


def _unique(sentences: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(sentences))
