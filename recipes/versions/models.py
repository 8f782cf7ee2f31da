"""One numbered state of a recipe's content."""

from collections.abc import Collection
from typing import Any, Self

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.triggers import insert_only
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.coffees.models import Coffee, Recipe, RoastLot
from recipes.formula.formula import Formula, Row
from recipes.formula.parameters import unit_sql
from recipes.versions.document import Document, VersionState, document_constraints
from recipes.versions.guards import answer_guards, formula_guards, name_guard, version_guards
from recipes.versions.stated_row import StatedRow, stated_constraints
from stations.machine_types.models import MachineType


class VersionQuerySet(models.QuerySet["Version"]):
    """Questions about versions."""

    def with_recipe(self) -> Self:
        """Versions with recipe, coffee, author and signature at hand."""
        return self.select_related(
            "recipe__coffee", "author", "last_editor", "signature", "lot", "change_request"
        )

    def with_formula(self) -> Self:
        """Versions with their formulas at hand, those of machine types among them."""
        return self.prefetch_related("formula", "variant_values")

    def in_review(self) -> Self:
        """Waiting for a second person's signature, the longest wait first."""
        return self.filter(state="in_review").order_by("submitted_at")

    def approved(self) -> Self:
        """The version of each recipe that may be published."""
        return self.filter(state="approved")

    def sealed(self) -> Self:
        """Submitted at least once and not returned since: their content is fixed."""
        return self.exclude(state="draft").exclude(content_digest="")

    def signed_as(self, digests: Collection[str] | models.QuerySet[Any, Any]) -> Self:
        """The signed versions of these contents: what control settings name by their digest."""
        return self.filter(content_digest__in=digests, signature__isnull=False)

    def awaiting_signature_of(self, user: User) -> Self:
        """In review, and this person may sign: they neither wrote nor asked for it."""
        if not may(user, Verb.RECIPE_APPROVE):
            return self.none()
        waiting = self.in_review()
        if Policy.current().sole_roaster:
            return waiting
        own = Q(author=user) | Q(last_editor=user) | Q(change_request__author=user)
        # A version without a request has no author of one: NULL must not hide it.
        return waiting.exclude(pk__in=self.in_review().filter(own).values("pk"))

    def drafts_of(self, user: User) -> Self:
        """Drafts this person wrote or edited last, those that came back from review first."""
        mine = Q(author=user) | Q(last_editor=user)
        return self.filter(mine, state="draft").order_by("submitted_at", "created_at")


# What an entry about a part of a version is about.
OF_VERSION = (
    "SELECT v.recipe_id, f.name || ' · ' || r.drink || ' · version ' || v.number AS name"
    " FROM recipes_version v JOIN recipes_recipe r ON r.id = v.recipe_id"
    " JOIN recipes_coffee f ON f.id = r.coffee_id WHERE v.id = n.version_id"
)


class Version(Document):
    """A recipe's content under one number: editable as a draft, fixed from review on."""

    State = VersionState

    recipe = models.ForeignKey(Recipe, models.PROTECT, related_name="versions")
    based_on = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    change_request = models.ForeignKey(
        "recipes.ChangeRequest",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="resulting_versions",
    )
    lot = models.ForeignKey(RoastLot, models.PROTECT, null=True, blank=True, related_name="+")

    objects = VersionQuerySet.as_manager()

    class Meta:
        ordering = ["recipe", "-number"]
        constraints = document_constraints("version", "recipe")
        triggers = [
            *version_guards(),
            *governed(
                subject="recipe",
                subject_id="n.recipe_id",
                label="l.name || ' · version ' || n.number",
                lookup="SELECT f.name || ' · ' || r.drink AS name FROM recipes_recipe r"
                " JOIN recipes_coffee f ON f.id = r.coffee_id WHERE r.id = n.recipe_id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recipe} · version {self.number}"

    def get_absolute_url(self) -> str:
        """The version's page."""
        return reverse("recipes:version", args=[self.pk])

    @property
    def stated(self) -> Formula:
        """The formula, whole."""
        return Formula.of_rows(self.formula.all())

    @property
    def variants(self) -> dict[int, Formula]:
        """The formula for each machine type (id) that has a variant, by id."""
        rows: dict[int, list[Row]] = {}
        for row in self.variant_values.all():
            rows.setdefault(row.machine_type_id, []).append(row)
        return {pk: Formula.of_rows(rows[pk]) for pk in sorted(rows)}

    @property
    def leaves_water(self) -> bool:
        """Whether stations get water of their own, by the whole formula or by a variant."""
        return any(each.leaves_water for each in self.formulas.values())

    @property
    def formulas(self) -> dict[int | None, Formula]:
        """All it says: the whole formula (None), and the variant for each machine type (id)."""
        said: dict[int | None, Formula] = {None: self.stated}
        said.update(self.variants.items())
        return said

    def stated_for(self, variant: int | None) -> Formula:
        """The formula of a machine type's variant (id), empty if it has none; None: the whole."""
        return self.stated if variant is None else self.variants.get(variant, Formula())


class FormulaValue(StatedRow):
    """What a version says about one parameter: a target with its tolerance, or a text."""

    version = models.ForeignKey(Version, models.PROTECT, related_name="formula")

    class Meta:
        ordering = ["version", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["version", "code"], name="formula_value_once_per_parameter"
            ),
            *stated_constraints("formula"),
        ]
        triggers = [
            *formula_guards(),
            *governed(
                subject="recipe",
                subject_id="l.recipe_id",
                label="l.name",
                lookup=OF_VERSION,
                parameter="n.code",
                exclude=("version_id", "code"),  # both stand in the entry already
                unit=unit_sql("n.code"),
            ),
        ]


class Comment(models.Model):
    """What a reviewer said about a version, about one parameter or the whole."""

    version = models.ForeignKey(Version, models.PROTECT, related_name="comments")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    code = models.CharField(max_length=40, blank=True)
    text = models.TextField()

    class Meta:
        ordering = ["id"]
        triggers = [
            *insert_only("comment"),
            *governed(
                subject="recipe",
                subject_id="l.recipe_id",
                label="l.name",
                lookup=OF_VERSION,
                parameter="nullif(n.code, '')",
            ),
        ]

    def __str__(self) -> str:
        return self.text


class Answer(models.Model):
    """Why something unusual of a version is meant so: who says it, and of which values.

    ``machine_type`` is that of the variant it is about, if not the whole formula.
    ``question`` is the sentence that was asked. ``about`` maps each field it rests on to its
    number, as text: with another number it is asked again. Never changed; what stood at
    submitting stays with the review, whatever is measured later.
    """

    version = models.ForeignKey(Version, models.PROTECT, related_name="answers")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    kind = models.CharField(max_length=60)
    machine_type = models.ForeignKey(
        MachineType, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    question = models.TextField()
    about: Any = models.JSONField()
    reason = models.TextField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(name="answer_says_why", condition=~Q(reason="")),
        ]
        triggers = [
            *insert_only("answer"),
            *answer_guards(),
            *governed(
                subject="recipe",
                subject_id="l.recipe_id",
                label="l.name",
                lookup=OF_VERSION,
            ),
        ]

    def __str__(self) -> str:
        return self.reason


# What a signed version names keeps its name: the names are part of what was signed.
pgtrigger.register(name_guard("name", "r.coffee_id = NEW.id"))(Coffee)
pgtrigger.register(name_guard("coffee_id code roasted_on", "v.lot_id = NEW.id"))(RoastLot)
pgtrigger.register(name_guard("coffee_id drink", "v.recipe_id = NEW.id"))(Recipe)
