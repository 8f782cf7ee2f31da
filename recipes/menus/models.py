"""Menus, their versions, the drinks on slot numbers, and the sites that follow."""

from collections.abc import Iterator
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now
from django.urls import reverse

from audit.capture.governed import governed
from people.persons.models import User
from people.persons.permissions import SiteScoped, may
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.menus.guards import (
    FOLLOWED,
    MENU_KEPT,
    SINCE,
    drink_guards,
    menu_version_guards,
)
from recipes.versions.document import Document, VersionState, document_constraints
from recipes.versions.models import Version
from stations.equipment.models import Site

MOST_SLOT_NUMBER = 99
NAME = 80  # characters


class Menu(models.Model):
    """A name under which drinks are arranged on slot numbers. What it says is in its versions."""

    name = models.CharField(max_length=NAME)
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(Lower("name"), name="menu_name_once")]
        triggers = [MENU_KEPT, *governed(subject="menu", label="n.name")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The menu's page."""
        return reverse("recipes:menu", args=[self.pk])


class MenuVersionQuerySet(models.QuerySet["MenuVersion"]):
    """Questions about versions of menus."""

    def with_menu(self) -> Self:
        """With menu, author and signature at hand."""
        return self.select_related("menu", "author", "last_editor", "signature", "submitted_by")

    def with_drinks(self) -> Self:
        """With what stands on each slot number, and how its recipe's version stands."""
        drinks = MenuDrink.objects.select_related("version__recipe__coffee")
        return self.prefetch_related(models.Prefetch("drinks", drinks.order_by("slot_number")))

    def with_formulas(self) -> Self:
        """With what the versions on it say, whole and to machine types, and of which coffee."""
        said = ("recipe__coffee", "formula", "variant_values")
        return self.prefetch_related(*(f"drinks__version__{each}" for each in said))

    def approved(self) -> Self:
        """The version of each menu that sites may get."""
        return self.filter(state="approved")

    def awaiting_signature_of(self, user: User) -> Self:
        """In review, and this person may sign: they neither drafted nor edited it last."""
        if not may(user, Verb.RECIPE_APPROVE):
            return self.none()
        waiting = self.filter(state="in_review").order_by("submitted_at")
        if Policy.current().sole_roaster:
            return waiting
        return waiting.exclude(Q(author=user) | Q(last_editor=user))


class MenuVersion(Document):
    """A menu's arrangement under one number: editable as a draft, fixed from review on."""

    State = VersionState

    menu = models.ForeignKey(Menu, models.PROTECT, related_name="versions")
    based_on = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    remark = models.TextField(blank=True, help_text="why it came back from review")

    objects = MenuVersionQuerySet.as_manager()

    class Meta:
        ordering = ["menu", "-number"]
        constraints = document_constraints("menu_version", "menu")
        triggers = [
            *menu_version_guards(),
            *governed(
                subject="menu",
                subject_id="n.menu_id",
                label="l.name || ' · version ' || n.number",
                lookup="SELECT m.name FROM recipes_menu m WHERE m.id = n.menu_id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"menu {self.menu} · version {self.number}"

    def get_absolute_url(self) -> str:
        """The version's page."""
        return reverse("recipes:menu_version", args=[self.pk])

    @property
    def arrangement(self) -> dict[int, Version]:
        """The version on each slot number (`with_drinks`), in their order."""
        return {drink.slot_number: drink.version for drink in self.drinks.all()}

    @property
    def out_of_use(self) -> list[tuple[int, Version]]:
        """The slot numbers whose version is approved no more, with it (`with_drinks`)."""
        return list(_not_approved(self.arrangement))


def _not_approved(arrangement: dict[int, Version]) -> Iterator[tuple[int, Version]]:
    for number, version in arrangement.items():
        if version.state != VersionState.APPROVED:
            yield number, version


class MenuDrink(models.Model):
    """What a menu's version says of one slot number: a recipe's version."""

    menu_version = models.ForeignKey(MenuVersion, models.PROTECT, related_name="drinks")
    slot_number = models.PositiveSmallIntegerField()
    version = models.ForeignKey(Version, models.PROTECT, related_name="on_menus")

    class Meta:
        ordering = ["menu_version", "slot_number"]
        constraints = [
            models.UniqueConstraint(
                fields=["menu_version", "slot_number"], name="menu_drink_once_per_slot_number"
            ),
            models.CheckConstraint(
                name="menu_drink_slot_number_from_1_to_99",
                condition=Q(slot_number__gte=1, slot_number__lte=MOST_SLOT_NUMBER),
            ),
        ]
        triggers = [
            *drink_guards(),
            *governed(
                subject="menu",
                subject_id="l.menu_id",
                label="l.name || ' · slot ' || n.slot_number",
                lookup="SELECT v.menu_id, m.name || ' · version ' || v.number AS name"
                " FROM recipes_menuversion v JOIN recipes_menu m ON m.id = v.menu_id"
                " WHERE v.id = n.menu_version_id",
                exclude=("menu_version_id",),
            ),
        ]

    def __str__(self) -> str:
        return f"slot {self.slot_number}: {self.version}"


# Which sites follow it.


class FollowingQuerySet(SiteScoped["Following"]):
    """Questions about who follows what."""

    view_verb = Verb.SLOT_VIEW

    def current(self) -> Self:
        """Those that have not ended."""
        return self.filter(until=None)

    def with_all(self) -> Self:
        """With everything a list of them prints."""
        return self.select_related("menu", "site", "by", "ended_by").order_by("site__name")


class Following(models.Model):
    """A site follows a menu: since when, and by whose decision."""

    menu = models.ForeignKey(Menu, models.PROTECT, related_name="followings")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    since = models.DateTimeField(db_default=Now())
    until = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = FollowingQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["site"], condition=Q(until=None), name="following_one_menu_a_site"
            ),
            models.CheckConstraint(
                name="following_ended_by_somebody",
                condition=Q(until=None, ended_by=None)
                | Q(until__isnull=False, ended_by__isnull=False),
            ),
        ]
        triggers = [
            FOLLOWED,
            SINCE,
            *governed(
                subject="menu",
                subject_id="n.menu_id",
                site_id="n.site_id",
                label="l.name || ' · ' || l.site",
                lookup="SELECT m.name, s.name AS site FROM recipes_menu m, stations_site s"
                " WHERE m.id = n.menu_id AND s.id = n.site_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} follows {self.menu}"


def followed_by(site_id: int) -> Following | None:
    """What a site follows now, if anything."""
    found: Following | None = Following.objects.current().with_all().filter(site=site_id).first()
    return found
