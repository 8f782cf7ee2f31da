"""Signed, time-limited permission for named slots to differ."""

from collections.abc import Collection
from typing import Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Prefetch, Q, Subquery
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from people.persons.models import User
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from recipes.permits.guards import permit_guards, permit_part_guard, permit_slot_guard
from recipes.planning.models import SignedPlan
from recipes.requests.models import ChangeRequest
from stations.equipment.models import Slot
from stations.slots.models import Placement
from web.model_fields import ExactDecimalField
from web.printing import counted

NAMED = 3  # slots named one by one in a list

# Permits by when they end.


class PermitQuerySet(SiteScoped["Permit"]):
    """Questions about permits."""

    site_path = "slots__slot__station__machine__site"
    view_verb = Verb.SLOT_VIEW

    def in_force(self) -> Self:
        """Still permitting, the soonest to end first."""
        return self.filter(state="in_force").order_by("ends_at")

    def overtaken(self) -> Self:
        """Signed, and holding no slot any more: something else took over every one of them."""
        holds = Placement.objects.in_force().filter(basis="permit", basis_id=OuterRef("pk"))
        return self.in_force().filter(~Exists(holds), signature__isnull=False)

    def with_zone(self) -> Self:
        """Annotated with ``zone``: the time zone of the first site a permit names."""
        named = self.model._meta.get_field("slots").related_model._default_manager.filter(
            permit=OuterRef("pk")
        )
        return self.annotate(
            zone=Subquery(named.values("slot__station__machine__site__time_zone")[:1])
        )

    def at_sites(self, sites: frozenset[int] | None) -> Self:
        """Only permits that name a slot at one of these sites, each once."""
        return self if sites is None else super().at_sites(sites).distinct()

    def with_slots_for(self, user: User) -> Self:
        """With its changes, and with those of its slots that this person may see."""
        seen = PermitSlot.objects.covered_by(user)
        seen = seen.select_related("slot__station__machine__site")
        return self.prefetch_related(Prefetch("slots", seen), "changes")


class PermitSlotQuerySet(SiteScoped["PermitSlot"]):
    """Questions about the slots that permits name."""

    site_path = "slot__station__machine__site"
    view_verb = Verb.SLOT_VIEW


class PermitState(models.TextChoices):
    """Where a permit is in its life."""

    IN_FORCE = "in_force", "in force"
    ENDED = "ended", "ended"


class Permit(SignedPlan):
    """A deviation permit (ISO 9000): which slots, which parameters, why, and until when."""

    State = PermitState

    ends_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State, default=State.IN_FORCE)
    granted_at = models.DateTimeField(db_default=Now())
    request = models.OneToOneField(
        ChangeRequest, models.PROTECT, null=True, blank=True, related_name="permit",
        help_text="the request that it answers",
    )  # fmt: skip
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = PermitQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", PermitState, name="permit_state_is_known"),
            models.CheckConstraint(name="permit_says_why", condition=~Q(reason="")),
            models.CheckConstraint(
                name="permit_ends_after_it_begins", condition=Q(ends_at__gt=F("granted_at"))
            ),
            models.CheckConstraint(
                name="permit_ended_has_a_moment",
                condition=~Q(state="ended") | Q(ended_at__isnull=False),
            ),
        ]
        triggers = [
            *permit_guards(),
            *governed(subject="permit", label="'permit ' || n.id", exclude=("revision",)),
        ]

    def __str__(self) -> str:
        return f"permit {self.pk}"

    def accepted_for(self, slots: Collection[Slot]) -> list[str]:
        """What was accepted by name where these slots are, out of all that it names."""
        sites = {slot.station.machine.site for slot in slots}
        old = bool(self.accepted is None and self.acknowledgement)
        whole = old and PermitSlot.objects.filter(permit=self).count() == len(slots)
        return self.accepted_at({site.pk: str(site) for site in sites}, whole=whole)

    @property
    def sites_named(self) -> list[str]:
        """The sites of its slots, as fetched with them (``with_slots_for``)."""
        return sorted({str(each.slot.station.machine.site) for each in self.slots.all()})

    @property
    def slots_named(self) -> str:
        """Its slots as fetched with it: each by name, many counted."""
        named = [str(each.slot) for each in self.slots.all()]
        return ", ".join(named) if len(named) <= NAMED else counted(len(named), "slot")

    def get_absolute_url(self) -> str:
        """The permit's page."""
        return reverse("recipes:permit", args=[self.pk])


class PermitSlot(models.Model):
    """One slot a permit names."""

    permit = models.ForeignKey(Permit, models.PROTECT, related_name="slots")
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="+")

    objects = PermitSlotQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["permit", "slot"], name="permit_names_a_slot_once")
        ]
        triggers = [
            permit_part_guard("slot"),
            permit_slot_guard(),
            *insert_only("permit_slot"),
            *governed(
                subject="permit",
                subject_id="n.permit_id",
                site_id="l.site_id",
                lookup="SELECT m.site_id FROM stations_slot s"
                " JOIN stations_station t ON t.id = s.station_id"
                " JOIN stations_machine m ON m.id = t.machine_id WHERE s.id = n.slot_id",
            ),
        ]

    def __str__(self) -> str:
        return str(self.slot)


class PermitChange(models.Model):
    """One parameter a permit changes, in the recipe's physical unit."""

    permit = models.ForeignKey(Permit, models.PROTECT, related_name="changes")
    code = models.CharField(max_length=40)
    target = ExactDecimalField(null=True, blank=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["permit", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["permit", "code"], name="permit_changes_a_parameter_once"
            ),
            models.CheckConstraint(
                name="permit_change_is_number_or_text",
                condition=Q(target__isnull=False, text="") | (Q(target=None) & ~Q(text="")),
            ),
        ]
        triggers = [
            permit_part_guard("change"),
            *insert_only("permit_change"),
            *governed(subject="permit", subject_id="n.permit_id", parameter="n.code"),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.text or self.target}"
