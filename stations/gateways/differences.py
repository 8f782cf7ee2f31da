"""Differences that gateways find, each with its window, and what a site does about them."""

from datetime import datetime
from typing import ClassVar

import pgtrigger
from django.db import models
from django.db.models import F, Q

from audit.capture.governed import governed
from audit.capture.triggers import FirmTrigger, refusal
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site, Slot
from stations.gateways.models import Gateway
from stations.slots.models import Placement, ReadBack
from stations.slots.overwritten import register_last_good

MOST, SILENT = (1, 20), (2, 1440)  # times in 24 h; minutes


class GatewayPolicy(Revised):
    """What gateways of a site do by themselves; until it was set the careful choices hold."""

    site = models.OneToOneField(Site, models.PROTECT, related_name="gateway_policy")
    restores = models.BooleanField(
        default=False, help_text="a difference is restored at once, by the gateway that finds it"
    )
    most = models.PositiveSmallIntegerField(
        default=3, help_text="times a slot is restored in 24 h; then a person is waited for"
    )
    silent_minutes = models.PositiveSmallIntegerField(
        default=10, help_text="minutes after which nothing heard is a matter"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="gateway_policy_most", condition=Q(most__gte=MOST[0], most__lte=MOST[1])
            ),
            models.CheckConstraint(
                name="gateway_policy_silent",
                condition=Q(silent_minutes__gte=SILENT[0], silent_minutes__lte=SILENT[1]),
            ),
        ]
        triggers = governed(
            subject="site",
            subject_id="n.site_id",
            site_id="n.site_id",
            label="'Gateways'",
            exclude=("revision",),
        )

    def __str__(self) -> str:
        return f"Gateways of {self.site}"

    @classmethod
    def at(cls, site_id: int) -> "GatewayPolicy":
        """The one in force: the site's row, or the unsaved defaults before any was set."""
        return cls.objects.filter(site_id=site_id).first() or cls(site_id=site_id)


class DifferenceQuerySet(SiteScoped["Difference"]):
    """Questions about differences."""

    view_verb: ClassVar[Verb] = Verb.SLOT_VIEW

    def open(self) -> "DifferenceQuerySet":
        """Those that last."""
        return self.filter(over_at=None)


STAYS = FirmTrigger(
    name="a_guard_difference",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.slot_id, NEW.site_id, NEW.placement_id, NEW.gateway_id, NEW.good_at, NEW.bad_at)
            IS DISTINCT FROM (OLD.slot_id, OLD.site_id, OLD.placement_id, OLD.gateway_id,
            OLD.good_at, OLD.bad_at)
        OR NEW.restores < OLD.restores
        OR OLD.over_at IS NOT NULL AND NEW.over_at IS DISTINCT FROM OLD.over_at
    THEN {refusal("What was found in % stays as it was found.")} END IF;
    RETURN NEW;
    """,
)


class Difference(models.Model):
    """A slot was found to hold something else, some time between `good_at` and `bad_at`."""

    slot = models.ForeignKey(Slot, models.PROTECT, related_name="differences")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    placement = models.ForeignKey(Placement, models.PROTECT, related_name="+", db_index=False)
    gateway = models.ForeignKey(Gateway, models.PROTECT, related_name="+", db_index=False)
    good_at = models.DateTimeField("last found as it should be", null=True)
    bad_at = models.DateTimeField("first found otherwise")
    restores = models.PositiveSmallIntegerField(default=0)
    restored_at = models.DateTimeField("last restored", null=True)
    stopped_at = models.DateTimeField("left to a person", null=True)
    over_at = models.DateTimeField(null=True)

    objects = DifferenceQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["slot"], condition=Q(over_at=None), name="difference_one_open"
            ),
            models.CheckConstraint(
                name="difference_window_is_ordered",
                condition=Q(good_at=None) | Q(good_at__lte=F("bad_at")),
            ),
        ]
        indexes = [
            models.Index(
                fields=["site", "slot"], name="difference_open", condition=Q(over_at=None)
            ),
            models.Index(fields=["site", "-id"], name="difference_at_site"),
            models.Index(fields=["site", "bad_at"], name="difference_of_week"),
            # An owner is told of these, and the people of the site.
            models.Index(
                fields=["site", "slot"],
                name="difference_stopped",
                condition=Q(over_at=None, stopped_at__isnull=False),
            ),
            # How often a slot was restored lately.
            models.Index(
                fields=["slot", "restored_at"],
                name="difference_restored",
                condition=Q(restored_at__isnull=False),
            ),
        ]
        triggers = [
            STAYS,
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
        return f"{self.slot}, since {self.bad_at:%Y-%m-%d %H:%M} UTC"


@register_last_good
def last_good(read: ReadBack) -> datetime | None:
    """When the slot was last found right, where a difference began with this read-back."""
    begun = Difference.objects.filter(slot=read.slot_id, bad_at=read.at)
    return begun.values_list("good_at", flat=True).first()
