"""A version's formula for machines of one type (the master recipes of IEC 61512)."""

from django.db import models

from audit.capture.governed import governed
from recipes.formula.parameters import unit_sql
from recipes.versions.guards import formula_guards
from recipes.versions.models import Version
from recipes.versions.stated_row import StatedRow, stated_constraints
from stations.machine_types.models import MachineType

# What an entry about a part of a variant is about: the machine type stands in its name.
OF_VARIANT = (
    "SELECT v.recipe_id, f.name || ' · ' || r.drink || ' · version ' || v.number || ' for '"
    " || t.name AS name FROM recipes_version v JOIN recipes_recipe r ON r.id = v.recipe_id"
    " JOIN recipes_coffee f ON f.id = r.coffee_id"
    " LEFT JOIN stations_machinetype t ON t.id = n.machine_type_id WHERE v.id = n.version_id"
)


class VariantValue(StatedRow):
    """What a version says about one parameter to machines of one type.

    A version has a variant for a machine type as long as it says anything to it. A variant is a
    formula by itself, and never falls back on the whole one.
    """

    version = models.ForeignKey(Version, models.PROTECT, related_name="variant_values")
    machine_type = models.ForeignKey(MachineType, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["version", "machine_type", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["version", "machine_type", "code"],
                name="variant_value_once_per_parameter",
            ),
            *stated_constraints("variant"),
        ]
        triggers = [
            *formula_guards(),
            *governed(
                subject="recipe",
                subject_id="l.recipe_id",
                label="l.name",
                lookup=OF_VARIANT,
                parameter="n.code",
                exclude=("version_id", "code"),  # both stand in the entry already
                unit=unit_sql("n.code"),
            ),
        ]
