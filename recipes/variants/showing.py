"""The variants of a version as pages show them, beside the whole formula."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Count, QuerySet

from recipes.formula.display import Row, ratio_words, rows
from recipes.formula.formula import Formula
from recipes.formula.requirements import lacking
from recipes.versions.models import Version
from stations.machine_types.models import MachineType


@dataclass(frozen=True)
class Shown:
    """A machine type, and what a version says to it.

    ``lacks`` is why it can't hold the whole formula, ``unfit`` why not its variant either.
    """

    machine_type: MachineType
    machines: int
    formula: Formula
    rows: list[Row] = field(default_factory=list)
    lacks: list[str] = field(default_factory=list)
    unfit: list[str] = field(default_factory=list)

    @property
    def ratio(self) -> str:
        """The variant's brew ratio."""
        return ratio_words(self.formula)


def variants_of(version: Version) -> list[Shown]:
    """Those that it has, each row beside the whole formula's; no query where there are none."""
    wanted = version.variants
    return _shown(version, _types().filter(pk__in=wanted)) if wanted else []


def every_type(version: Version) -> list[Shown]:
    """Every machine type, with what the version says to it: two queries."""
    return _shown(version, _types())


def _types() -> QuerySet[MachineType]:
    rows = MachineType.objects.annotate(machine_count=Count("machines")).order_by("name")
    return rows.prefetch_related("abilities")


def _shown(version: Version, types: Iterable[MachineType]) -> list[Shown]:
    whole, variants = version.stated, version.variants
    return [_one(each, whole, variants.get(each.pk, Formula())) for each in types]


def _one(machine_type: MachineType, whole: Formula, formula: Formula) -> Shown:
    machines: int = machine_type.machine_count  # type: ignore[attr-defined]
    return Shown(
        machine_type,
        machines,
        formula,
        rows(whole, formula) if formula else [],
        lacking(whole, machine_type),
        lacking(formula, machine_type) if formula else [],
    )
