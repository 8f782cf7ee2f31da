"""What of menus is worth hearing of: one to approve, and a site that departs from its own."""

from collections.abc import Iterable
from textwrap import shorten

from django.urls import reverse

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.menus.departures import departing_slots
from recipes.menus.models import Following, MenuVersion
from web.printing import counted

LENGTH = 300  # characters of a note


def to_approve() -> Iterable[Found]:
    """For whoever may sign it: not who wrote it, but where one roaster does all."""
    alone = Policy.current().sole_roaster
    for version in MenuVersion.objects.filter(state="in_review").with_menu().order_by("pk"):
        own = sorted({version.author_id, version.last_editor_id})
        yield Found(
            key=f"{version.pk}:{version.content_digest[:12]}",
            title=f"To approve: {version}, by {version.author}",
            words=shorten(version.note, LENGTH, placeholder="…"),
            url=version.get_absolute_url(),
            not_for=() if alone else tuple(own),
        )


def departing() -> Iterable[Found]:
    """Site by site, for as long as it follows the menu and departs."""
    rows = list(Following.objects.current().with_all())
    slots = departing_slots(each.site_id for each in rows)
    for each in rows:
        if each.site_id in slots:
            yield Found(
                key=str(each.pk),
                title=f"{each.site} departs from menu {each.menu}",
                words=f"{counted(slots[each.site_id], 'slot')} should hold something else.",
                url=reverse("recipes:site_menu", args=[each.site_id]),
                sites=(each.site_id,),
            )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("menu", "A menu to approve", Verb.RECIPE_APPROVE, to_approve, "recipes:menu_version")
    )
    register_kind(
        Kind("departs", "A site that departs from its menu", Verb.PUBLICATION_PLAN, departing,
             "recipes:site_menu", usual=How.DAILY)
    )  # fmt: skip
