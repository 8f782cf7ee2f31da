"""Tablets, what a site's policy says about them, and how often a wrong PIN was given."""

import hashlib
from typing import ClassVar

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower, Now
from django.utils import timezone

from audit.capture.governed import exempt, governed
from audit.capture.models import one_of
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb

NAME_LENGTH = 60


def digest_of(secret: str) -> str:
    """SHA-256 in hex. Keys are 256 random bits, so a slow hash would add nothing; a code has 38,
    and lives ten minutes."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


class TabletQuerySet(SiteScoped["Tablet"]):
    """Queries on tablets."""

    view_verb: ClassVar[Verb] = Verb.TABLET_ENROL

    def in_use(self) -> "TabletQuerySet":
        """Enrolled and not revoked."""
        return self.filter(revoked_at=None).exclude(enrolled_at=None)


class Tablet(Revised):
    """A tablet of a site, from the code that enrols it on; known by the digest of its key."""

    site = models.ForeignKey("stations.Site", models.PROTECT, related_name="tablets")
    name = models.CharField(max_length=NAME_LENGTH)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="tablets_enrolled"
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    # Of the code, until it was used or a newer one made.
    code_digest = models.CharField(max_length=64, null=True, unique=True, editable=False)  # noqa: DJ001 - none is not a digest
    code_until = models.DateTimeField(null=True, editable=False)
    enrolled_at = models.DateTimeField("enrolled", null=True, editable=False)
    # The key is changed as it is used. The one before is good until the new one was shown.
    digest = models.CharField(max_length=64, null=True, unique=True, editable=False)  # noqa: DJ001 - as above
    former = models.CharField(max_length=64, null=True, editable=False)  # noqa: DJ001 - as above
    renewed_at = models.DateTimeField(null=True, editable=False)
    shown_at = models.DateTimeField(null=True, editable=False)
    # Kept to ten minutes and outside the history: a note, not a record.
    seen_at = models.DateTimeField("last seen", null=True, editable=False)
    copied_at = models.DateTimeField("a copy of its key was used", null=True, editable=False)
    revoked_at = models.DateTimeField("revoked", null=True, editable=False)

    objects = TabletQuerySet.as_manager()

    class Meta:
        ordering = ["site", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                "site",
                Lower("name"),
                condition=models.Q(revoked_at=None),
                name="tablet_name_once_per_site",
            ),
            models.CheckConstraint(
                condition=models.Q(digest=None) | models.Q(enrolled_at__isnull=False),
                name="tablet_has_a_key_once_enrolled",
            ),
            models.CheckConstraint(
                condition=models.Q(revoked_at=None) | models.Q(digest=None, code_digest=None),
                name="tablet_revoked_has_no_key",
            ),
        ]
        indexes = [
            models.Index(
                fields=["former"],
                name="tablet_former",
                condition=models.Q(former__isnull=False),
            )
        ]
        triggers = governed(
            subject="tablet",
            site_id="n.site_id",
            label="n.name",
            exclude=("revision", "seen_at", "former", "renewed_at", "shown_at"),
            secret=("digest", "code_digest"),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def state(self) -> str:
        """One word for lists."""
        if self.revoked_at:
            return "revoked"
        if self.enrolled_at:
            return "enrolled"
        waits = self.code_until is not None and self.code_until > timezone.now()
        return "waiting" if waits else "code expired"


class Shown(models.TextChoices):
    """What a station's code shows to whoever is not signed in."""

    NOTHING = "nothing", "Nothing: sign in first"
    SETTINGS = "settings", "What each slot is set to"


class TabletPolicy(Revised):
    """What an owner allows at a site; until then the careful choices hold."""

    site = models.OneToOneField("stations.Site", models.PROTECT, related_name="tablet_policy")
    idle_minutes = models.PositiveSmallIntegerField(
        "minutes left alone until a tablet returns to the choice of people",
        default=5,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
    )
    shown = models.CharField(
        "a station's code shows, on any device",
        max_length=10,
        choices=Shown,
        default=Shown.NOTHING,
    )
    shown_on_tablet = models.CharField(
        "and on an enrolled tablet of that site",
        max_length=10,
        choices=Shown,
        default=Shown.NOTHING,
    )

    class Meta:
        constraints = [
            one_of("shown", Shown, name="tablet_policy_shown_is_known"),
            one_of("shown_on_tablet", Shown, name="tablet_policy_on_tablet_is_known"),
            models.CheckConstraint(
                condition=models.Q(idle_minutes__gte=1, idle_minutes__lte=60),
                name="tablet_policy_idle_is_1_to_60",
            ),
        ]
        triggers = governed(
            subject="site",
            subject_id="n.site_id",
            site_id="n.site_id",
            label="'Tablets'",  # at the site, as whoever shows the entry adds
            exclude=("revision",),
        )

    def __str__(self) -> str:
        return f"Tablets of {self.site}"

    @classmethod
    def at(cls, site_id: int) -> "TabletPolicy":
        """The one in force: the site's row, or the unsaved defaults before any was set."""
        return cls.objects.filter(site_id=site_id).first() or cls(site_id=site_id)


@exempt("Counts of a day, by which tries are bounded; each refused try is an entry of its own.")
class PinTry(models.Model):
    """A try that was not right, or is not known to be yet."""

    tablet = models.ForeignKey(Tablet, models.PROTECT, related_name="tries")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="pin_tries")
    site = models.ForeignKey("stations.Site", models.PROTECT, related_name="pin_tries")
    at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["site", "at"], name="pin_try_at_site")]

    def __str__(self) -> str:
        return f"try {self.pk}"
