"""What a site asks of its slots before it opens."""

from datetime import datetime, time, timedelta

from django.db import models
from django.db.models import F, Q

from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site, governed_at_site

MOST_SHOTS = 6
SLOTS = r"^([1-9][0-9]?(,[1-9][0-9]?)*)?$"


class OpeningPolicyQuerySet(SiteScoped["OpeningPolicy"]):
    """Questions about opening checks."""

    view_verb = Verb.SLOT_VIEW


class OpeningPolicy(Revised):
    """How many shots of each slot have to be within tolerance, from what hour they count.

    A day begins at ``counts_from`` by the site's clock, so that a bar open past midnight has whole
    ones. No shots: nothing is asked. ``slots`` are numbers such as "1,3"; empty means every slot
    in use.
    """

    site = models.OneToOneField(Site, models.PROTECT, related_name="opening")
    shots = models.PositiveSmallIntegerField(default=0)
    counts_from = models.TimeField(default=time(4))
    opens_at = models.TimeField(default=time(7))
    slots = models.CharField(max_length=120, blank=True, default="")

    objects = OpeningPolicyQuerySet.as_manager()

    class Meta:
        ordering = ["site"]
        constraints = [
            models.CheckConstraint(
                name="opening_asks_for_a_few_shots", condition=Q(shots__lte=MOST_SHOTS)
            ),
            models.CheckConstraint(
                name="opening_slots_are_numbers", condition=Q(slots__regex=SLOTS)
            ),
            models.CheckConstraint(
                name="opening_hours_differ", condition=~Q(counts_from=F("opens_at"))
            ),
        ]
        triggers = governed_at_site("revision")

    def __str__(self) -> str:
        return f"opening check of {self.site}"

    def get_absolute_url(self) -> str:
        """The site's page."""
        return self.site.get_absolute_url()

    @classmethod
    def of(cls, site: Site) -> "OpeningPolicy":
        """What the site asks; unsaved, with revision 0, where nothing was ever set."""
        found = cls.objects.select_related("site").filter(site=site).first()
        return found or cls(site=site, revision=0)

    def day_began(self, at: datetime) -> datetime:
        """The last time the site's clock showed ``counts_from``."""
        return _latest(self.counts_from, self.site.local(at))

    def door(self, at: datetime) -> datetime:
        """When the door opens on the day that runs at that moment."""
        began = self.day_began(at).astimezone(self.site.zone)
        same = began.replace(hour=self.opens_at.hour, minute=self.opens_at.minute, second=0)
        return same if same >= began else same + timedelta(days=1)


def _latest(hour: time, local: datetime) -> datetime:
    """The last moment, at most now, at which a clock with this zone showed that hour."""
    begun = local.replace(hour=hour.hour, minute=hour.minute, second=0, microsecond=0)
    # Arithmetic on an aware moment of one zone is by the clock on the wall: a day, not 24 hours.
    return begun if begun <= local else begun - timedelta(days=1)
