"""An approved version sent to a set of slots from a moment on."""

from collections.abc import Collection
from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import Count, F, Max, Min, Prefetch, Q, Sum
from django.db.models.functions import Now
from django.db.models.lookups import Exact
from django.urls import reverse
from django.utils import timezone

from audit.capture.governed import governed
from audit.capture.models import one_of
from people.persons.models import User
from people.persons.permissions import SiteScoped, covered_sites
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe, RoastLot
from recipes.planning.models import SignedPlan
from recipes.publishing.guards import publication_guards, share_guards
from recipes.publishing.parts import Progress, PublicationSiteQuerySet
from recipes.versions.document import Document
from recipes.versions.models import Version
from stations.equipment.models import Site

PART = "your sites, among others"

# Publications by what is left to do.


class PublicationQuerySet(SiteScoped["Publication"]):
    """Questions about publications: one is of every site that it reaches."""

    site_path = "sites__site"
    view_verb = Verb.SLOT_VIEW

    def at_sites(self, sites: frozenset[int] | None) -> Self:
        """Only those that reach one of these sites, each once; None means all."""
        if sites is None:
            return self
        reached = PublicationSite.objects.filter(site__in=sites)
        return self.filter(pk__in=reached.values("publication"))

    def of_recipe(self, recipe: Recipe) -> Self:
        """Of its versions, alone or on a menu."""
        on_a_menu = Publication.objects.filter(menu_version__drinks__version__recipe=recipe)
        return self.filter(Q(version__recipe=recipe) | Q(pk__in=on_a_menu.values("pk")))

    def under_way(self) -> Self:
        """Signed and not complete, stopped ones included."""
        return self.filter(state__in=["running", "stopped"])

    def with_progress_for(self, user: User) -> Self:
        """Annotated with ``slots`` and ``placed`` (counts), ``first_due`` and ``last_due``.

        Of the sites that this person may see, as `with_sites_for`; ``whole`` if that is all.
        """
        covered = covered_sites(user, Verb.SLOT_VIEW)
        seen = None if covered is None else Q(sites__site__in=covered)
        return self.annotate(
            slots=Sum("sites__slots", filter=seen),
            placed=Sum("sites__placed", filter=seen),
            first_due=Min("sites__due_at", filter=seen),
            last_due=Max("sites__due_at", filter=seen),
            whole=Q(Exact(Count("sites"), Count("sites", filter=seen))),
        )

    def with_version(self) -> Self:
        """With version and recipe, or the menu's version, author and signature at hand."""
        return self.select_related(
            "version__recipe__coffee", "menu_version__menu", "author", "signature", "lot__coffee"
        )

    def with_sites_for(self, user: User) -> Self:
        """With the progress at those sites that this person may see, of ``parts`` in all."""
        seen = PublicationSite.objects.covered_by(user).with_begin().with_loading()
        shown = Prefetch("sites", seen)
        return self.annotate(parts=Count("sites")).prefetch_related(shown)


class PublicationState(models.TextChoices):
    """Where a publication is in its life."""

    RUNNING = "running", "under way"
    STOPPED = "stopped", "stopped"
    COMPLETE = "complete", "complete"
    CANCELLED = "cancelled", "cancelled"


class Publication(SignedPlan):
    """A signed plan: which version, or menu, where, and from when by each site's clock."""

    State = PublicationState

    version = models.ForeignKey(
        Version, models.PROTECT, null=True, blank=True, related_name="publications"
    )
    menu_version = models.ForeignKey(
        "recipes.MenuVersion", models.PROTECT, null=True, blank=True, related_name="publications",
        help_text="instead of a version: several, each on its slot numbers",
    )  # fmt: skip
    scope = models.JSONField(help_text="which slots: see recipes.publishing.scope")
    scope_label = models.TextField()
    local_date = models.DateField(null=True, blank=True, help_text="empty: at once")
    local_time = models.TimeField(null=True, blank=True)
    lot = models.ForeignKey(
        RoastLot, models.PROTECT, null=True, blank=True, related_name="+",
        help_text="each site begins when it opens this",
    )  # fmt: skip
    state = models.CharField(max_length=10, choices=State, default=State.RUNNING)
    made_at = models.DateTimeField(db_default=Now())
    completed_at = models.DateTimeField(null=True, blank=True)

    objects = PublicationQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", PublicationState, name="publication_state_is_known"),
            models.CheckConstraint(
                name="publication_date_and_time_together",
                condition=Q(local_date=None, local_time=None)
                | Q(local_date__isnull=False, local_time__isnull=False),
            ),
            models.CheckConstraint(
                name="publication_of_a_version_or_a_menu",
                condition=Q(version__isnull=False, menu_version=None)
                | Q(version=None, menu_version__isnull=False),
            ),
            models.CheckConstraint(
                name="publication_with_a_lot_or_at_a_time",
                condition=Q(lot=None) | Q(local_date=None),
            ),
            models.CheckConstraint(
                name="publication_complete_has_a_moment",
                condition=~Q(state="complete") | Q(completed_at__isnull=False),
            ),
        ]
        triggers = [
            *publication_guards(),
            *governed(subject="publication", label="'publication ' || n.id", exclude=("revision",)),
        ]

    def __str__(self) -> str:
        return f"publication {self.pk}"

    @property
    def document(self) -> Document:
        """What was approved and is published: the version, or the menu's."""
        found = self.version or self.menu_version
        if found is None:
            raise RuntimeError("a publication is of a version or of a menu")
        return found

    def where_words(self, *, whole: bool) -> str:
        """The scope in words, which may name sites; of others than one's own nothing is told."""
        return self.scope_label if whole else PART

    def get_absolute_url(self) -> str:
        """The publication's page."""
        return reverse("recipes:publication", args=[self.pk])

    @property
    def shown_state(self) -> str:
        """Its state as a mark: `scheduled` as long as the first moment or opening lies ahead.

        `loading` once all is placed, until the bars hold it. Knows that moment from
        `with_progress_for`, and what bars hold from `loading.tell`; without them, this is the
        state itself.
        """
        first: datetime | None = getattr(self, "first_due", None)
        # With a lot no moment is known: it lies ahead until the first site begins.
        unopened = self.lot_id is not None and not getattr(self, "placed", 0)
        ahead = first is not None and (unopened or first > timezone.now())
        if ahead and self.state == self.State.RUNNING:
            return "scheduled"
        # Everything is placed, and not every bar holds it: only somebody who keys it in ends that.
        unheld = self.state == self.State.COMPLETE and self.unloaded
        return "loading" if unheld else self.state

    # Slots where it is in force, as read back (`recipes.publishing.loading`); no columns.
    loaded = 0
    unloaded = 0


def menus_of(publications: Collection[int]) -> dict[int, str]:
    """The menu's version, in words, of those of these publications (ids) that are of one."""
    rows = Publication.objects.filter(pk__in=publications, menu_version__isnull=False)
    return {each.pk: str(each.document) for each in rows.select_related("menu_version__menu")}


class PublicationSite(Progress, models.Model):
    """A publication at one site: the instant it is due there, and which slots it had to refuse.

    Where the publication is with a lot, ``due_at`` is the earliest, and the site's opening counts.

    ``refusals`` is a list of ``{"slot": id, "place": text, "facts": [...]}``; where it was kept in
    words, of ``{"slot": id, "place": text, "reasons": [sentence, ...]}``.
    """

    publication = models.ForeignKey(Publication, models.PROTECT, related_name="sites")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    due_at = models.DateTimeField()
    slots = models.PositiveIntegerField(help_text="how many slots are to be placed here")
    placed = models.PositiveIntegerField(default=0)
    cancelled = models.PositiveIntegerField(default=0)
    refusals = models.JSONField(default=list)

    objects = PublicationSiteQuerySet.as_manager()

    class Meta:
        ordering = ["publication", "due_at", "site__name"]
        constraints = [
            models.UniqueConstraint(
                fields=["publication", "site"], name="publication_once_per_site"
            ),
            models.CheckConstraint(
                name="publication_places_no_more_than_planned",
                condition=Q(slots__gte=F("placed") + F("cancelled")),
            ),
        ]
        triggers = [
            *share_guards(),
            *governed(
                subject="publication",
                subject_id="n.publication_id",
                site_id="n.site_id",
                label="'publication ' || n.publication_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.publication} at {self.site}"

    def get_absolute_url(self) -> str:
        """The publication's page, which shows all its sites."""
        return self.publication.get_absolute_url()
