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
from recipes.formula.formula import Formula
from recipes.formula.parameters import unit_sql
from recipes.versions.document import Document, VersionState, document_constraints
from recipes.versions.guards import answer_guards, formula_guards, name_guard, version_guards
from web.model_fields import ExactDecimalField


class VersionQuerySet(models.QuerySet["Version"]):
    """Questions about versions."""

    def with_recipe(self) -> Self:
        """Versions with recipe, coffee, author and signature at hand."""
        return self.select_related(
            "recipe__coffee", "author", "last_editor", "signature", "lot", "change_request"
        )

    def with_formula(self) -> Self:
        """Versions with their formulas at hand."""
        return self.prefetch_related("formula")

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
        """The formula."""
        return Formula.of_rows(self.formula.all())


class FormulaValue(models.Model):
    """What a version says about one parameter: a target with its tolerance, or a text."""

    version = models.ForeignKey(Version, models.PROTECT, related_name="formula")
    code = models.CharField(max_length=40)
    target = ExactDecimalField(null=True, blank=True)
    below = ExactDecimalField(null=True, blank=True)
    above = ExactDecimalField(null=True, blank=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["version", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["version", "code"], name="formula_value_once_per_parameter"
            ),
            models.CheckConstraint(
                name="formula_value_is_number_or_text",
                condition=Q(target__isnull=False, text="")
                | (Q(target=None, below=None, above=None) & ~Q(text="")),
            ),
            models.CheckConstraint(
                name="formula_tolerance_is_not_negative",
                condition=(Q(below=None) | Q(below__gte=0)) & (Q(above=None) | Q(above__gte=0)),
            ),
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

    def __str__(self) -> str:
        return f"{self.code}: {self.text or self.target}"


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

    ``question`` is the sentence that was asked. ``about`` maps each field it rests on to its
    number, as text: with another number it is asked again. Never changed; what stood at
    submitting stays with the review, whatever is measured later.
    """

    version = models.ForeignKey(Version, models.PROTECT, related_name="answers")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    kind = models.CharField(max_length=60)
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
