"""A shop lead's proposal against an approved version."""

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from recipes.formula.formula import Formula
from recipes.formula.parameters import unit_sql
from recipes.requests.guards import (
    evidence_guards,
    proposal_guards,
    request_guards,
    slot_guards,
)
from recipes.versions.models import Version
from stations.charts.models import KeptChart
from stations.equipment.models import Site, Slot
from stations.shots.models import CheckShot
from stations.slots.models import ReadBack
from web.model_fields import ExactDecimalField


class ChangeRequestQuerySet(SiteScoped["ChangeRequest"]):
    """Questions about change requests."""

    view_verb = Verb.RECIPE_VIEW

    def with_base(self) -> Self:
        """With the version, its recipe, site and people at hand."""
        return self.select_related("base__recipe__coffee", "site", "author", "decided_by")

    def waiting(self) -> Self:
        """Open, the oldest first."""
        return self.filter(state="open").order_by("made_at")

    def settled(self) -> Self:
        """Accepted, declined or taken back, the newest first."""
        return self.exclude(state__in=["open", "asked_back"]).order_by("-id")

    def unsettled(self) -> Self:
        """Open or asked back."""
        return self.filter(state__in=["open", "asked_back"]).order_by("made_at")


class RequestKind(models.TextChoices):
    """What is asked for."""

    CHANGE = "change", "change"
    PERMIT = "permit", "permit"


class RequestState(models.TextChoices):
    """Where a request is in its life."""

    OPEN = "open", "open"
    ASKED_BACK = "asked_back", "asked back"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    TAKEN_BACK = "taken_back", "taken back"
    PERMITTED = "permitted", "permitted"


class ChangeRequest(Revised):
    """New values asked for, why, on what evidence, and what was decided.

    Asked for as a change of the recipe, or as a permit: for `slots` of the site, until `ends_at`.
    Either can be answered by a permit, and is permitted then.
    """

    State = RequestState
    Kind = RequestKind

    kind = models.CharField(
        max_length=6, choices=RequestKind, default=RequestKind.CHANGE, db_default=RequestKind.CHANGE
    )
    ends_at = models.DateTimeField(null=True, blank=True)
    base = models.ForeignKey(Version, models.PROTECT, related_name="change_requests")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reason = models.TextField()
    evidence = models.TextField(blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    made_at = models.DateTimeField(db_default=Now())
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decision_reason = models.TextField(blank=True)

    objects = ChangeRequestQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", RequestState, name="change_request_state_is_known"),
            one_of("kind", RequestKind, name="change_request_kind_is_known"),
            models.CheckConstraint(
                name="change_request_for_a_permit_says_until_when",
                condition=Q(kind="permit", ends_at__isnull=False) | Q(kind="change", ends_at=None),
            ),
            models.CheckConstraint(name="change_request_says_why", condition=~Q(reason="")),
            models.CheckConstraint(
                name="change_request_decided_by_somebody",
                condition=~Q(state__in=["accepted", "declined", "permitted"])
                | Q(decided_by__isnull=False, decided_at__isnull=False),
            ),
        ]
        indexes = [
            models.Index(
                fields=["made_at"],
                name="change_request_waiting",
                condition=Q(state__in=["open", "asked_back"]),
            )
        ]
        triggers = [
            *request_guards(),
            *governed(
                subject="change request",
                site_id="n.site_id",
                label="'request ' || n.id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"request {self.pk}"

    @property
    def asks_for_permit(self) -> bool:
        """Whether it is a permit that is asked for."""
        return self.kind == RequestKind.PERMIT

    @property
    def wanted(self) -> str:
        """What is asked for, in words."""
        return "a permit to differ from" if self.asks_for_permit else "a change of"

    def get_absolute_url(self) -> str:
        """The request's page."""
        return reverse("recipes:request", args=[self.pk])

    @property
    def proposed(self) -> Formula:
        """What is to be stated instead, by the parameters it is about."""
        return Formula.of_rows(self.proposals.all())


class ChangeRequestValue(models.Model):
    """One parameter a request proposes to change."""

    request = models.ForeignKey(ChangeRequest, models.PROTECT, related_name="proposals")
    code = models.CharField(max_length=40)
    target = ExactDecimalField(null=True, blank=True)
    below = ExactDecimalField(null=True, blank=True)
    above = ExactDecimalField(null=True, blank=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["request", "id"]
        constraints = [
            models.UniqueConstraint(fields=["request", "code"], name="proposal_once_per_parameter"),
            models.CheckConstraint(
                name="proposal_is_number_or_text",
                condition=Q(target__isnull=False, text="")
                | (Q(target=None, below=None, above=None) & ~Q(text="")),
            ),
        ]
        triggers = [
            *proposal_guards(),
            *governed(
                subject="change request",
                subject_id="n.request_id",
                site_id="(SELECT r.site_id FROM recipes_changerequest r WHERE r.id = n.request_id)",
                label="'request ' || n.request_id",
                parameter="n.code",
                unit=unit_sql("n.code"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.text or self.target}"


class RequestSlot(models.Model):
    """A slot for which a permit is asked."""

    request = models.ForeignKey(ChangeRequest, models.PROTECT, related_name="slots")
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["request", "id"]
        constraints = [
            models.UniqueConstraint(fields=["request", "slot"], name="request_names_a_slot_once")
        ]
        triggers = [
            *slot_guards(),
            *governed(
                subject="change request",
                subject_id="n.request_id",
                site_id="(SELECT r.site_id FROM recipes_changerequest r WHERE r.id = n.request_id)",
                label="'request ' || n.request_id",
            ),
        ]

    def __str__(self) -> str:
        return str(self.slot)


EVIDENCE = ("shot", "read_back", "chart", "tasting")


def _one_of_them() -> Q:
    """Exactly one of the kinds."""
    found = Q()
    for one in EVIDENCE:
        rest = {f"{other}__isnull": True for other in EVIDENCE if other != one}
        found |= Q(**{f"{one}__isnull": False}, **rest)
    return found


class RequestEvidence(models.Model):
    """What a request points to: a check shot, a read-back, a kept chart or an opened tasting."""

    request = models.ForeignKey(ChangeRequest, models.PROTECT, related_name="attached")
    shot = models.ForeignKey(CheckShot, models.PROTECT, null=True, blank=True, related_name="+")
    read_back = models.ForeignKey(ReadBack, models.PROTECT, null=True, blank=True, related_name="+")
    chart = models.ForeignKey(KeptChart, models.PROTECT, null=True, blank=True, related_name="+")
    # By name: tastings are planned for requests, and know them.
    tasting = models.ForeignKey(
        "recipes.Tasting", models.PROTECT, null=True, blank=True, related_name="cited"
    )

    class Meta:
        ordering = ["request", "id"]
        constraints = [
            models.UniqueConstraint(fields=["request", "shot"], name="evidence_shot_once"),
            models.UniqueConstraint(fields=["request", "read_back"], name="evidence_read_once"),
            models.UniqueConstraint(fields=["request", "chart"], name="evidence_chart_once"),
            models.UniqueConstraint(fields=["request", "tasting"], name="evidence_tasting_once"),
            models.CheckConstraint(name="evidence_is_one_thing", condition=_one_of_them()),
        ]
        triggers = [
            *evidence_guards(),
            *governed(
                subject="change request",
                subject_id="n.request_id",
                site_id="(SELECT r.site_id FROM recipes_changerequest r WHERE r.id = n.request_id)",
                label="'request ' || n.request_id",
            ),
        ]

    def __str__(self) -> str:
        return str(self.shot or self.read_back or self.chart or self.tasting)


class AnswerSeen(models.Model):
    """Who asked has seen the answer that stands at this revision of the request. Never changed."""

    request = models.ForeignKey(ChangeRequest, models.PROTECT, related_name="seen")
    revision = models.PositiveIntegerField()
    at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["request", "revision"], name="answer_seen_once"),
        ]
        triggers: Any = [
            *insert_only("answer_seen"),
            *governed(
                subject="change request",
                subject_id="n.request_id",
                site_id="(SELECT r.site_id FROM recipes_changerequest r WHERE r.id = n.request_id)",
                label="'request ' || n.request_id",
            ),
        ]

    def __str__(self) -> str:
        return f"answer to {self.request} seen"
