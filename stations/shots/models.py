"""Shots pulled to verify what a slot pours."""

from collections.abc import Collection, Iterable
from datetime import timedelta
from typing import Any, Self

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, insert_only, refusal
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site, Slot
from stations.grinders.models import Grinder
from stations.lots.models import LotOpening
from stations.lots.shelf import READY, Aged
from stations.slots.guards import MADE_LATELY
from stations.slots.models import Placement, by_one
from web.model_fields import ExactDecimalField
from web.newest import newest_of_each

# Check shots a person may see, and those that are learnt from.

LATELY = timedelta(days=1)  # an older shot says nothing of what the slot pours now


class CheckShotQuerySet(SiteScoped["CheckShot"]):
    """Questions about check shots."""

    view_verb = Verb.SLOT_VIEW

    def counted(self) -> Self:
        """Shots that say something: none that was marked to be left out."""
        return self.filter(left_out=False)

    def newest_at(self, slots: models.QuerySet[Slot], many: int) -> Self:
        """The newest so many of all these slots, the newest first; no more are read of any."""
        return newest_of_each(self, "slot", slots, many).newest_first()[:many]

    def newest_under(self, contents: Iterable[str], station: int, many: int) -> Self:
        """The same of those pulled at a station (id) under these signed contents (digests)."""
        held = Placement.objects.filter(
            settings__station=station, settings__content_digest__in=list(contents)
        )
        return newest_of_each(self, "placement", held, many).newest_first()[:many]

    def newest_first(self) -> Self:
        """In the order they were pulled in: what was noted without a line arrives later."""
        return self.order_by("-at", "-id")

    def after(self, shot: "CheckShot") -> Self:
        """Those pulled after that one."""
        return self.filter(Q(at__gt=shot.at) | Q(at=shot.at, pk__gt=shot.pk))

    def until(self, shot: "CheckShot") -> Self:
        """That one and those pulled before it."""
        return self.filter(Q(at__lt=shot.at) | Q(at=shot.at, pk__lte=shot.pk))

    def of_content(self, content_digest: str) -> Self:
        """Shots pulled while settings from this signed content were in force, permits included."""
        return self.filter(placement__settings__content_digest=content_digest)

    def of_contents(self, content_digests: Collection[str]) -> Self:
        """The same of several."""
        return self.filter(placement__settings__content_digest__in=content_digests)

    def outside_now(self) -> Self:
        """Shots of the last day out of tolerance, under what is in force, with none after them.

        One that is within, poured in the same slot, ends it; so does another placement.
        """
        later = CheckShot.objects.counted().filter(placement=OuterRef("placement"))
        later = later.filter(Q(at__gt=OuterRef("at")) | Q(at=OuterRef("at"), pk__gt=OuterRef("pk")))
        lately = self.counted().filter(verdict="outside", at__gte=Now() - LATELY)
        return lately.filter(placement__state="in_force").exclude(Exists(later))

    def with_place(self) -> Self:
        """Shots with everything a list of them prints."""
        return self.select_related(
            "by",
            "gateway",
            "site",
            "grinder",
            "opening__site",
            "placement__settings",
            "slot__station__machine__site",
        )


class ShotVerdict(models.TextChoices):
    """How a shot compares with what it is held against."""

    WITHIN = "within", "within tolerance"
    OUTSIDE = "outside", "out of tolerance"
    OPEN = "open", "nothing to compare with"


# A measured value changes only together with the correction that says what and why.
CORRECTED = FirmTrigger(
    name="a_shot_corrected",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.slot_id, NEW.site_id, NEW.placement_id, NEW.by_id, NEW.at, NEW.grinder_id,
            NEW.opening_id, NEW.gateway_id)
            IS DISTINCT FROM (OLD.slot_id, OLD.site_id, OLD.placement_id, OLD.by_id, OLD.at,
            OLD.grinder_id, OLD.opening_id,
            OLD.gateway_id)
        OR NEW.corrections <> OLD.corrections + 1
        OR NOT EXISTS (SELECT 1 FROM stations_shotcorrection c
            WHERE c.shot_id = NEW.id AND c.number = NEW.corrections
            AND (c.dose_mass, c.beverage_mass, c.shot_time, c.left_out)
                = (NEW.dose_mass, NEW.beverage_mass, NEW.shot_time, NEW.left_out)
            AND (c.strength, c.grind_setting, c.taste, c.body)
                IS NOT DISTINCT FROM (NEW.strength, NEW.grind_setting, NEW.taste, NEW.body)
            AND c.note = NEW.note)
    THEN {refusal("A shot in % changes only by a recorded correction.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)
KEPT = FirmTrigger(
    name="a_shot_kept",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Delete,
    func=refusal("Rows of % are never deleted."),
)


class Taste(models.TextChoices):
    """How the cup tasted, by one tap."""

    SOUR = "sour", "Sour"
    BALANCED = "balanced", "Balanced"
    BITTER = "bitter", "Bitter"


class Body(models.TextChoices):
    """How it felt, by one tap."""

    THIN = "thin", "Thin"
    HEAVY = "heavy", "Heavy"


class Measured(models.Model):
    """What was weighed and timed: g in, g out, s, and dissolved solids in % where measured.

    With the mark its grinder stood at, and how it tasted, where somebody said so.
    """

    dose_mass = ExactDecimalField()
    beverage_mass = ExactDecimalField()
    shot_time = ExactDecimalField()
    strength = ExactDecimalField(null=True, blank=True)
    # NULL, not "": what was logged before anybody could say it was not said.
    grind_setting = ExactDecimalField(null=True, blank=True, help_text="the grinder's mark")
    taste = models.CharField(max_length=8, null=True, blank=True, choices=Taste)  # noqa: DJ001
    body = models.CharField(max_length=8, null=True, blank=True, choices=Body)  # noqa: DJ001
    note = models.CharField(max_length=500, blank=True, default="")
    left_out = models.BooleanField(
        default=False, help_text="not to be learnt from: a spilt cup, a wrong basket"
    )

    class Meta:
        abstract = True


class CheckShot(Measured):
    """One shot, tied to the placement that was in force at its slot at that moment.

    ``verdicts`` maps each measured code that has a target to ``within``, ``low``, ``high`` or
    ``open`` (a target without tolerance).
    """

    # Indexed with the moment, as the placement is: the newest are asked for.
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="shots", db_index=False)
    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    placement = models.ForeignKey(Placement, models.PROTECT, related_name="shots", db_index=False)
    grinder = models.ForeignKey(
        Grinder, models.PROTECT, null=True, blank=True, related_name="shots", db_index=False
    )
    opening = models.ForeignKey(
        LotOpening, models.PROTECT, null=True, blank=True, related_name="shots"
    )
    by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    gateway = models.ForeignKey(
        "stations.Gateway", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    at = models.DateTimeField(db_default=Now())
    verdicts: Any = models.JSONField()
    verdict = models.CharField(max_length=8, choices=ShotVerdict)
    corrections = models.PositiveSmallIntegerField(default=0)

    objects = CheckShotQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("verdict", ShotVerdict, name="shot_verdict_is_known"),
            by_one("shot_is_by_a_person_or_a_gateway"),
            models.CheckConstraint(
                name="shot_measures_are_plausible",
                condition=Q(
                    dose_mass__gt=0, dose_mass__lte=100, beverage_mass__gt=0,
                    beverage_mass__lte=1000, shot_time__gt=0, shot_time__lte=600,
                )
                & (Q(strength=None) | Q(strength__gte=0, strength__lte=30)),
            ),
            models.CheckConstraint(
                name="shot_taste_and_body_are_known",
                condition=(Q(taste=None) | Q(taste__in=Taste.values))
                & (Q(body=None) | Q(body__in=Body.values)),
            ),
            models.CheckConstraint(
                name="shot_mark_is_of_a_grinder",
                condition=Q(grind_setting=None) | Q(grinder__isnull=False),
            ),
        ]  # fmt: skip
        # The opening check asks for the shots of a day, of what is in force.
        indexes = [
            models.Index(fields=["placement", "at"], name="shot_of_a_day"),
            models.Index(fields=["slot", "-at", "-id"], name="shot_of_slot"),
            # Out of tolerance: what is now, everywhere, and the days of one site.
            models.Index(
                fields=["at"],
                name="shot_outside",
                condition=Q(verdict="outside", left_out=False),
            ),
            models.Index(fields=["site", "at"], name="shot_at_site"),
        ]
        triggers = [
            MADE_LATELY,
            CORRECTED,
            KEPT,
            *governed(
                subject="slot",
                subject_id="n.slot_id",
                site_id="n.site_id",
                label="l.title",
                lookup="SELECT s.title FROM stations_placement p"
                " JOIN stations_controlsettings s ON s.id = p.settings_id"
                " WHERE p.id = n.placement_id",
                exclude=("site_id",),
            ),
        ]

    def __str__(self) -> str:
        return f"check shot {self.pk}"

    def get_absolute_url(self) -> str:
        """The shot's page with its verdicts."""
        return reverse("stations:shot", args=[self.pk])

    @property
    def who(self) -> str:
        """The person that logged it, or the gateway that saw it."""
        return str(self.by or self.gateway)

    @property
    def aged(self) -> Aged | None:
        """How its lot stood when it was pulled, by the site's calendar; None without a lot."""
        return self.opening.aged(self.at) if self.opening else None

    @property
    def days_off_roast(self) -> int | None:
        """How old that was, in days."""
        return self.aged.days if self.aged else None

    @property
    def lot_state(self) -> str | None:
        """Whether that was resting, ready or past its window."""
        return self.aged.state if self.aged else None

    @property
    def outside_window(self) -> str:
        """That state where it is one to be told of: resting or past."""
        return "" if self.lot_state in (None, READY) else str(self.lot_state)


class ShotCorrection(Measured):
    """What a shot really was, who says so and why. Never changed."""

    shot = models.ForeignKey(CheckShot, models.PROTECT, related_name="corrected")
    number = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["shot", "number"], name="shot_corrected_in_turn"),
            models.CheckConstraint(name="shot_correction_says_why", condition=~Q(reason="")),
            one_of("taste", Taste, name="shot_correction_taste_is_known"),
            one_of("body", Body, name="shot_correction_body_is_known"),
        ]
        triggers = [
            *insert_only("shot_correction"),
            *governed(
                subject="slot",
                subject_id="l.slot_id",
                site_id="l.site_id",
                label="l.title",
                lookup="SELECT k.slot_id, k.site_id, s.title FROM stations_checkshot k"
                " JOIN stations_placement p ON p.id = k.placement_id"
                " JOIN stations_controlsettings s ON s.id = p.settings_id"
                " WHERE k.id = n.shot_id",
            ),
        ]

    def __str__(self) -> str:
        return f"correction {self.number} of {self.shot}"
