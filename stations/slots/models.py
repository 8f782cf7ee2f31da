"""What a slot should hold, from when on, and on whose signature."""

from typing import Any, Self, TypeAlias

from django.conf import settings as project
from django.db import models
from django.db.models import Count, F, Q
from django.db.models.functions import Now

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from people.signatures.models import Signature
from stations.equipment.models import Site, Slot, Station
from stations.machine_types.models import MachineType
from stations.slots.guards import MADE_LATELY, placement_guards


def by_one(name: str) -> models.CheckConstraint:
    """Either a person or a gateway did it."""
    person = Q(by__isnull=False, gateway=None)
    return models.CheckConstraint(name=name, condition=person | Q(by=None, gateway__isnull=False))


# Placements by what they are waiting for.


class PlacementQuerySet(SiteScoped["Placement"]):
    """Questions about placements."""

    view_verb = Verb.SLOT_VIEW

    def in_force(self) -> Self:
        """What slots should hold now."""
        return self.filter(state="in_force")

    def differing(self) -> Self:
        """In force, read back, and found to be something else."""
        return self.in_force().filter(verdict="differs")

    def to_load(self) -> Self:
        """In force and signed, but not read back since."""
        return self.in_force().filter(verdict="unread").exclude(manner="by_hand")

    def with_place(self) -> Self:
        """Placements with everything a list of them prints, in reading order."""
        return self.select_related(
            "settings", "signature", "site", "slot__station__machine__site"
        ).order_by("site__name", "slot__station__machine__name", "slot__station__number", "slot")

    def board(self) -> "models.QuerySet[Any, Any]":
        """Per site: how many slots match, differ, wait to be loaded, are on permit or by hand."""
        signed = ~Q(manner="by_hand")
        return (
            self.in_force()
            .values("site")
            .annotate(
                matches=Count("pk", filter=signed & Q(verdict="matches")),
                differs=Count("pk", filter=Q(verdict="differs")),
                to_load=Count("pk", filter=signed & Q(verdict="unread")),
                on_permit=Count("pk", filter=Q(manner="steps_in")),
                by_hand=Count("pk", filter=Q(manner="by_hand")),
            )
            .order_by("site")
        )


class ControlSettings(models.Model):
    """A formula translated for one station: what a slot there must be set to. Never changes.

    ``values`` maps a parameter's code to ``{"value": "280", "unit": "{pulse}"}``; numbers are
    decimal strings, so that nothing between PostgreSQL and the page can round them. ``cup`` is
    what a check shot is held against, if anything: a measured code to
    ``{"target": "36.0", "below": "2", "above": "2", "unit": "g"}``. ``variant`` is the machine type
    for whose variant they are translated, if not for the whole formula.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="control_settings")
    title = models.CharField(max_length=200, help_text="what it is, as the bar reads it")
    content_digest = models.CharField(
        max_length=64, blank=True, help_text="digest of the formula it is from"
    )
    variant = models.ForeignKey(
        MachineType, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    values = models.JSONField()
    cup = models.JSONField(null=True, blank=True)
    made_at = models.DateTimeField(db_default=Now())

    class Meta:
        indexes = [
            # Where a version was in force, over all the years.
            models.Index(
                fields=["content_digest", "station"], name="settings_of_content",
                condition=~Q(content_digest=""),
            )
        ]  # fmt: skip
        triggers = [
            *insert_only("control_settings"),
            *governed(
                subject="station",
                subject_id="n.station_id",
                site_id="l.site_id",
                label="n.title",
                lookup="SELECT m.site_id FROM stations_station s"
                " JOIN stations_machine m ON m.id = s.machine_id WHERE s.id = n.station_id",
            ),
        ]

    def __str__(self) -> str:
        return self.title


class PlacementManner(models.TextChoices):
    """How a placement comes into force, and what becomes of what the slot held."""

    TAKES_OVER = "takes_over", "takes over at its moment"
    STEPS_IN = "steps_in", "steps in for a time and gives back what it suspended"
    RENEWS = "renews", "renews the same content, beneath what stepped in as well"
    BY_HAND = "by_hand", "set by hand"


class PlacementState(models.TextChoices):
    """Where a placement is in its life."""

    SCHEDULED = "scheduled", "scheduled"
    IN_FORCE = "in_force", "in force"
    SUSPENDED = "suspended", "set aside for a time"
    ENDED = "ended", "ended"
    CANCELLED = "cancelled", "cancelled"


class PlacementVerdict(models.TextChoices):
    """How the last read-back compared."""

    UNREAD = "unread", "to load"
    MATCHES = "matches", "matches"
    DIFFERS = "differs", "differs"


class Placement(models.Model):
    """One slot's share of something that was signed, or a value set by hand.

    ``basis`` and ``basis_id`` name what was signed in the words of the package above, which
    registers them (``stations.slots.bases``) and has the database hold that it exists; how a
    placement behaves is its ``manner``. Written by ``stations.slots.placing`` alone. A slot is
    locked while a signed placement is in force.
    """

    Manner: TypeAlias = PlacementManner
    State: TypeAlias = PlacementState
    Verdict: TypeAlias = PlacementVerdict

    # Indexed by the unique constraint that starts with it.
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="placements", db_index=False)
    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    settings = models.ForeignKey(
        ControlSettings, models.PROTECT, related_name="placements", db_index=False
    )
    basis = models.CharField(max_length=16)
    basis_id = models.BigIntegerField(null=True, blank=True)
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    manner = models.CharField(max_length=10, choices=Manner)
    state = models.CharField(max_length=12, choices=State, default=State.SCHEDULED)
    verdict = models.CharField(max_length=8, choices=Verdict, default=Verdict.UNREAD)
    due_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    superseded_by = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = PlacementQuerySet.as_manager()

    # Why its settings are withheld (stations.slots.signed), what it waits for beside its moment
    # and what it is part of (stations.slots.bases); no columns.
    problem = ""
    waits_for = ""
    part_of = ""

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["slot"], condition=Q(state="in_force"), name="placement_one_in_force"
            ),
            models.UniqueConstraint(
                fields=["slot"],
                condition=Q(state="scheduled", manner="takes_over"),
                name="placement_one_scheduled",
            ),
            models.UniqueConstraint(
                fields=["slot"], condition=Q(state="suspended"), name="placement_one_suspended"
            ),
            models.UniqueConstraint(
                fields=["slot", "basis", "basis_id"],
                # What is translated anew before its moment is cancelled for what takes its place.
                condition=~Q(state="cancelled"),
                name="placement_once_per_slot_and_basis",
            ),
            one_of("manner", PlacementManner, name="placement_manner_is_known"),
            one_of("state", PlacementState, name="placement_state_is_known"),
            one_of("verdict", PlacementVerdict, name="placement_verdict_is_known"),
            models.CheckConstraint(
                name="placement_signed_unless_by_hand",
                condition=Q(manner="by_hand", basis="by_hand", signature=None, basis_id=None)
                | (
                    ~Q(manner="by_hand")
                    & ~Q(basis="by_hand")
                    & Q(signature__isnull=False, basis_id__isnull=False)
                ),
            ),
            models.CheckConstraint(
                name="placement_moments_fit_its_state",
                condition=Q(state__in=["scheduled", "cancelled"], started_at=None)
                | Q(state__in=["in_force", "suspended"], started_at__isnull=False, ended_at=None)
                | Q(state="ended", started_at__isnull=False, ended_at__gte=F("started_at")),
            ),
        ]
        indexes = [
            # The board and the to-key list read the little that is in force, site by site.
            models.Index(
                fields=["site", "manner", "verdict"],
                name="placement_board",
                condition=Q(state="in_force"),
            ),
            # What became of something that was signed, site by site.
            models.Index(fields=["basis", "basis_id", "site"], name="placement_under"),
            # The worker asks what is due.
            models.Index(
                fields=["basis", "basis_id", "slot"],
                name="placement_waiting",
                condition=Q(state="scheduled"),
            ),
            models.Index(fields=["settings"], name="placement_of_settings"),
            # What stepped in over what a slot held, asked of every slot at a past moment.
            models.Index(
                fields=["slot"], name="placement_stepped_in", condition=Q(manner="steps_in")
            ),
            # What slots held at a moment, site by site: most of what there was had ended by then.
            models.Index(fields=["site", "ended_at"], name="placement_until"),
            # What came into force at a site within a week.
            models.Index(
                fields=["site", "started_at"],
                name="placement_since",
                condition=Q(started_at__isnull=False),
            ),
        ]
        triggers = [
            *placement_guards(),
            *governed(
                subject="slot",
                subject_id="n.slot_id",
                site_id="n.site_id",
                label="l.title",
                lookup="SELECT s.title FROM stations_controlsettings s WHERE s.id = n.settings_id",
                exclude=("site_id", "manner"),  # both follow from what is recorded
            ),
        ]

    def __str__(self) -> str:
        return f"{self.settings} ({self.get_state_display()})"

    @property
    def locks(self) -> bool:
        """Whether what it says is signed."""
        return self.manner != self.Manner.BY_HAND


# What a slot was found to hold.


class ReadBack(models.Model):
    """What a slot was found to hold, by a person or a gateway, and how that compared.

    ``found`` maps codes to what was read, as text; ``verdicts`` maps every expected code to
    ``matches``, ``differs`` or ``missing``.
    """

    # Both indexed with the moment: the newest are asked for.
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="read_backs", db_index=False)
    placement = models.ForeignKey(
        Placement, models.PROTECT, related_name="read_backs", db_index=False
    )
    by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    gateway = models.ForeignKey(
        "stations.Gateway", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    at = models.DateTimeField(db_default=Now())
    found = models.JSONField()
    verdicts = models.JSONField()
    verdict = models.CharField(max_length=8, choices=Placement.Verdict)

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("verdict", PlacementVerdict, name="read_back_verdict_is_known"),
            by_one("read_back_is_by_a_person_or_a_gateway"),
        ]
        indexes = [
            models.Index(fields=["slot", "-at", "-id"], name="read_back_of_slot"),
            # How placements had been read by a moment, and the few that ever differed.
            models.Index(
                fields=["placement", "-at", "-id"],
                name="read_back_of_placement",
                include=["verdict"],
            ),
            models.Index(
                fields=["placement"], name="read_back_differing", condition=Q(verdict="differs")
            ),
        ]
        triggers = [
            MADE_LATELY,
            *insert_only("read_back"),
            *governed(
                subject="slot",
                subject_id="n.slot_id",
                site_id="l.site_id",
                label="l.title",
                lookup="SELECT p.site_id, s.title FROM stations_placement p"
                " JOIN stations_controlsettings s ON s.id = p.settings_id"
                " WHERE p.id = n.placement_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.get_verdict_display()}"

    @property
    def who(self) -> str:
        """The person or the gateway that read it."""
        return str(self.by or self.gateway)
