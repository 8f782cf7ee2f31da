"""A blind tasting: what is compared, who answered what, and when the key was opened."""

from decimal import Decimal
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from recipes.brewing.taste import Method
from recipes.requests.models import ChangeRequest
from recipes.tastings.guards import answer_guards, tasting_guards
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.model_fields import ExactDecimalField


class TastingQuerySet(SiteScoped["Tasting"]):
    """Questions about tastings."""

    view_verb = Verb.RECIPE_VIEW

    def with_all(self) -> Self:
        """With everything a page prints."""
        return self.select_related(
            "site", "planned_by", "base__recipe__coffee", "other__recipe__coffee",
            "for_request", "for_version__recipe__coffee",
        ).prefetch_related("answers")  # fmt: skip


METHODS = [
    (Method.TRIANGLE.value, "triangle: which of three is the odd one"),
    (Method.DUO_TRIO.value, "duo-trio: which of two is like the reference"),
    (Method.PAIRED_ONE_SIDED.value, "paired: is the second preferred"),
    (Method.PAIRED_TWO_SIDED.value, "paired: is either preferred"),
]


class Aim(models.TextChoices):
    """What a triangle or a duo-trio is to show; a preference shows a difference too."""

    DIFFERENCE = "difference", "that they differ"
    SIMILARITY = "similarity", "that they are the same, near enough"


class TastingState(models.TextChoices):
    """Answers are locked before the key opens."""

    PLANNED = "planned", "planned"
    LOCKED = "locked", "answers locked"
    OPENED = "opened", "key opened"


class Tasting(Revised):
    """One session. The seed gives serving orders, cup codes and with them the key."""

    State = TastingState

    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    method = models.CharField(max_length=20, choices=METHODS)
    aim = models.CharField(max_length=10, choices=Aim, default=Aim.DIFFERENCE)
    share = ExactDecimalField(
        null=True, blank=True,
        help_text="of tasters who can tell: more than these may not, for samples that are the same",
    )  # fmt: skip
    base = models.ForeignKey(Version, models.PROTECT, null=True, blank=True, related_name="+")
    other = models.ForeignKey(Version, models.PROTECT, null=True, blank=True, related_name="+")
    first_sample = models.CharField(max_length=120, help_text="what sample A is")
    second_sample = models.CharField(max_length=120, help_text="what sample B is")
    risk = ExactDecimalField(
        help_text="of finding what is not there, or missing what is; 0.05 is 5 %"
    )
    assessments = models.PositiveSmallIntegerField(help_text="how many are planned")
    servings_each = models.PositiveSmallIntegerField(default=1, help_text="of one taster")
    seed = models.CharField(max_length=100)
    state = models.CharField(max_length=10, choices=State, default=State.PLANNED)
    planned_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    planned_at = models.DateTimeField(db_default=Now())
    locked_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    for_request = models.ForeignKey(
        ChangeRequest, models.PROTECT, null=True, blank=True, related_name="tastings"
    )
    for_version = models.ForeignKey(
        Version, models.PROTECT, null=True, blank=True, related_name="tastings"
    )

    objects = TastingQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", TastingState, name="tasting_state_is_known"),
            models.CheckConstraint(
                name="tasting_method_is_known",
                condition=Q(method__in=[method.value for method in Method]),
            ),
            models.CheckConstraint(
                name="tasting_planned_with_sense",
                condition=Q(assessments__gte=1, assessments__lte=500, risk__gt=0, risk__lte=0.5)
                & ~Q(seed="") & ~Q(first_sample="") & ~Q(second_sample=""),
            ),
            one_of("aim", Aim, name="tasting_aim_is_known"),
            models.CheckConstraint(
                name="tasting_shares_its_servings",
                condition=Q(servings_each__gte=1, servings_each__lte=20),
            ),
            models.CheckConstraint(
                name="tasting_is_the_same_near_enough",
                condition=Q(aim="difference", share=None)
                | Q(aim="similarity", share__isnull=False, share__gte=Decimal("0.05"),
                    share__lte=Decimal("0.9"), servings_each=1,
                    method__in=[Method.TRIANGLE.value, Method.DUO_TRIO.value]),
            ),
            models.CheckConstraint(
                name="tasting_state_has_its_time",
                condition=Q(state="planned", locked_at=None, opened_at=None)
                | Q(state="locked", locked_at__isnull=False, opened_at=None)
                | Q(state="opened", locked_at__isnull=False, opened_at__isnull=False),
            ),
        ]  # fmt: skip
        triggers = [
            *tasting_guards(),
            *governed(
                subject="tasting",
                site_id="n.site_id",
                label="'tasting ' || n.id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"tasting {self.pk}"

    def get_absolute_url(self) -> str:
        """The tasting's page."""
        return reverse("recipes:tasting", args=[self.pk])


class TastingAnswer(models.Model):
    """The cup somebody chose in one serving, by its code."""

    tasting = models.ForeignKey(Tasting, models.PROTECT, related_name="answers")
    number = models.PositiveSmallIntegerField()
    chosen = models.CharField(max_length=3)
    note = models.CharField(
        max_length=200, blank=True, default="", help_text="in the taster's words"
    )

    class Meta:
        ordering = ["tasting", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["tasting", "number"], name="tasting_one_answer_per_serving"
            ),
        ]
        triggers = [
            *answer_guards(),
            *governed(
                subject="tasting",
                subject_id="n.tasting_id",
                site_id="(SELECT t.site_id FROM recipes_tasting t WHERE t.id = n.tasting_id)",
                label="'tasting ' || n.tasting_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.chosen}"
