"""Gateways of a site, the keys that they sign with, and what they last said of themselves."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now
from django.utils import timezone

from audit.capture.governed import exempt, governed
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.gateways.guards import GATEWAY_STAYS, KEY_STAYS, KEYS_KEPT

NAME_LENGTH = 60


class GatewayQuerySet(SiteScoped["Gateway"]):
    """Questions about gateways."""

    view_verb: ClassVar[Verb] = Verb.EQUIPMENT_VIEW

    def in_use(self) -> "GatewayQuerySet":
        """Enrolled and not revoked."""
        return self.filter(revoked_at=None, enrolled_at__isnull=False)


class Gateway(Revised):
    """A program at a site, from the code that enrols it on; known by the keys it signs with."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="gateways")
    name = models.CharField(max_length=NAME_LENGTH)
    # Its events' CloudEvents source, urn:uuid:…
    source = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    # Of the code, until it was used or a newer one made.
    code_digest = models.CharField(max_length=64, null=True, unique=True, editable=False)  # noqa: DJ001 - none is not a digest
    code_until = models.DateTimeField(null=True, editable=False)
    enrolled_at = models.DateTimeField("enrolled", null=True, editable=False)
    revoked_at = models.DateTimeField("revoked", null=True, editable=False)

    objects = GatewayQuerySet.as_manager()

    class Meta:
        ordering = ["site", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                "site", Lower("name"), condition=Q(revoked_at=None),
                name="gateway_name_once_per_site",
            ),
            models.CheckConstraint(
                name="gateway_code_has_an_end",
                condition=Q(code_digest=None, code_until=None)
                | Q(code_digest__isnull=False, code_until__isnull=False),
            ),
            models.CheckConstraint(
                name="gateway_code_is_for_one_that_waits",
                condition=Q(code_digest=None) | Q(enrolled_at=None, revoked_at=None),
            ),
        ]  # fmt: skip
        triggers = [
            GATEWAY_STAYS,
            *governed(
                subject="gateway",
                site_id="n.site_id",
                label="n.name",
                exclude=("revision",),
                secret=("code_digest",),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def urn(self) -> str:
        """What its events name as their source."""
        return f"urn:uuid:{self.source}"

    @property
    def state(self) -> str:
        """One word for lists."""
        if self.revoked_at:
            return "revoked"
        if self.enrolled_at:
            return "enrolled"
        waits = self.code_until is not None and self.code_until > timezone.now()
        return "waiting" if waits else "code expired"


class GatewayKey(models.Model):
    """An Ed25519 key that a gateway made for itself: the public part, as in a JWK (RFC 8037)."""

    gateway = models.ForeignKey(Gateway, models.PROTECT, related_name="keys")
    thumbprint = models.CharField(max_length=43, unique=True, help_text="RFC 7638, base64url")
    public = models.CharField(max_length=43, help_text="x of the JWK, base64url")
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    # A key that takes another's place ends it by being used for the first time.
    used_at = models.DateTimeField("first used", null=True, editable=False)
    ended_at = models.DateTimeField("ended", null=True, editable=False)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["gateway"],
                condition=Q(ended_at=None, used_at__isnull=False),
                name="gateway_one_key_in_use",
            ),
            models.UniqueConstraint(
                fields=["gateway"],
                condition=Q(ended_at=None, used_at=None),
                name="gateway_one_key_to_come",
            ),
        ]
        triggers = [
            KEY_STAYS,
            KEYS_KEPT,
            *governed(
                subject="gateway",
                subject_id="n.gateway_id",
                site_id="l.site_id",
                label="l.name",
                lookup="SELECT g.site_id, g.name FROM stations_gateway g WHERE g.id = n.gateway_id",
            ),
        ]

    def __str__(self) -> str:
        return self.thumbprint


@exempt("What a gateway says of itself every minute: a note, not a record; its events are kept.")
class GatewayStatus(models.Model):
    """The last that was heard of a gateway."""

    gateway = models.OneToOneField(Gateway, models.PROTECT, related_name="status")
    seen_at = models.DateTimeField("last contact", null=True)
    host = models.CharField("calls itself", max_length=60, blank=True, default="")
    version = models.CharField(max_length=40, blank=True, default="")
    driver = models.CharField(max_length=60, blank=True, default="")
    told_at = models.DateTimeField("newest heartbeat", null=True)
    clock_offset = models.FloatField(
        "its clock minus ours, s", null=True, help_text="at its last batch of events"
    )
    waiting = models.PositiveIntegerField("events in its outbox", null=True)
    through = models.BigIntegerField("sequence without a gap before it", default=0)
    last = models.BigIntegerField("highest sequence that came", default=0)
    missing = models.JSONField("sequences that never came", default=list)

    def __str__(self) -> str:
        return f"status of {self.gateway_id}"
