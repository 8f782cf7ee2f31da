"""What the history calls the changes of menus, and how it shows them."""

from collections.abc import Iterable, Sequence

from audit.registry import (
    register_approval,
    register_content,
    register_subject,
    register_touched,
)
from audit.vocabulary import register as action
from people.signatures.content import signed_rows
from recipes.menus.digest import menu_content
from recipes.menus.models import Menu, MenuDrink, MenuVersion

MENU_ADDED = action("menu.added", "Added menu")
MENU_DRAFTED = action("menu.drafted", "Drafted menu")
MENU_EDITED = action("menu.edited", "Edited draft of menu")
MENU_SUBMITTED = action("menu.submitted", "Submitted menu")
MENU_RETURNED = action("menu.returned", "Returned menu")
MENU_APPROVED = action("menu.approved", "Approved menu")
MENU_SUPERSEDED = action("menu.superseded", "Superseded menu")
MENU_WITHDRAWN = action("menu.withdrawn", "Withdrew menu")
MENU_FOLLOWED = action("menu.followed", "Let a site follow a menu")
MENU_LEFT = action("menu.left", "Let a site follow a menu no more")

DRAFT = "None: a draft"
FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_subject("menu", "Menu", "recipes:menu", find=_menus_named)
    register_subject("menu_version", "Menu version", "recipes:menu_version")
    register_content("menu_version", menu_content)
    register_approval("recipes_menuversion", signed_rows(MenuVersion), DRAFT)
    drinks = signed_rows(MenuDrink, "menu_version__signature")
    register_approval("recipes_menudrink", drinks, DRAFT)
    register_touched("recipes_menuversion", lambda rows: [(pk, "menu_version", pk) for pk in rows])
    register_touched("recipes_menudrink", _versions_of)


def _menus_named(text: str) -> Iterable[tuple[int, str]]:
    return Menu.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _versions_of(drinks: Sequence[int]) -> Iterable[tuple[int, str, int]]:
    """The menu versions that these drinks stand in."""
    rows = MenuDrink.objects.filter(pk__in=drinks).values_list("pk", "menu_version_id")
    return [(row, "menu_version", version) for row, version in rows]
