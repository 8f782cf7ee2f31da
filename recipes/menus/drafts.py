"""Drafts of menus: begun from nothing, from another version or from a site, and edited."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Max

from audit.capture.context import recorded
from audit.errors import Problem, Subject
from audit.revision import compare_and_set, lock, must_be_at
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.menus import history
from recipes.menus.models import MOST_SLOT_NUMBER, NAME, Menu, MenuDrink, MenuVersion
from recipes.versions.deciding import must_be
from recipes.versions.drafts import NOTE
from recipes.versions.models import Version
from stations.equipment.models import Site
from stations.slots.models import Placement
from web.checks import Checks, taken

Arrangement = Mapping[int, int]
"""Slot number to the id of a recipe's version."""


def subject_of(menu: Menu, named: str = "") -> Subject:
    """What a history entry about a menu is about."""
    return Subject("menu", menu.pk, named or menu.name)


def add_menu(*, by: User, name: str, like: Site | None = None) -> MenuVersion:
    """Enter a menu with its first draft: empty, or ``like`` what a site's slots should hold now.

    Raises NotPermitted (also for a site they don't see), Invalid for a name that is unusable or
    taken.
    """
    with recorded(by=by, action=history.MENU_ADDED, subject=Subject("menu", None, str(name))):
        require(by, Verb.RECIPE_DRAFT)
        if like is not None:
            require(by, Verb.SLOT_VIEW, like.pk)
        checks = Checks()
        name = checks.text("name", name, most=NAME)
        found = found_at(like) if like else Found({}, ())
        held = found.arrangement or not like
        checks.that(held, "like", like, "a site that holds approved versions")
        checks.done()
        with taken(menu_name_once=Problem("name", name, "a name that no other menu has")):
            menu = Menu.objects.create(name=name)
        note = f"Like {like}.{_differing(found)}" if like else ""
        return _begin(menu, by, found.arrangement, note=note)


def new_draft(*, by: User, based_on: MenuVersion) -> MenuVersion:
    """Begin the next version of a menu with today's approved version of each recipe on it.

    A recipe that has none keeps the version that stood there, which its page and the review tell.
    Raises NotPermitted.
    """
    menu = based_on.menu
    with recorded(by=by, action=history.MENU_DRAFTED, subject=subject_of(menu)):
        require(by, Verb.RECIPE_DRAFT, subject=subject_of(menu))
        arrangement = _renewed(based_on.arrangement)
        return _begin(menu, by, arrangement, note="", based_on=based_on)


def edit_draft(
    *, by: User, menu_version: MenuVersion, revision: int, arrangement: Arrangement, note: str = ""
) -> MenuVersion:
    """Make a draft say exactly this of every slot number; write only what differs.

    Raises NotPermitted, Invalid, Refused if it is no draft, Stale if it moved on.
    """
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=history.MENU_EDITED, subject=subject):
        now = lock_menu_version(menu_version, by, Verb.RECIPE_DRAFT)
        must_be(now, MenuVersion.State.DRAFT, to="edited")
        must_be_at(now, revision)
        checks = Checks()
        note = checks.text("note", note, most=NOTE, required=False, lines=True)
        _check(arrangement, checks)
        checks.done()
        before = {number: version.pk for number, version in now.arrangement.items()}
        if dict(arrangement) != before or note != now.note:
            compare_and_set(now, revision, last_editor=by, note=note)
            _write(now, before, arrangement)
        return now


def lock_menu(menu_id: int) -> None:
    """New numbers and approvals of one menu take turns."""
    list(Menu.objects.select_for_update().filter(pk=menu_id).values_list("pk"))


def lock_menu_version(menu_version: MenuVersion, by: User, verb: Verb) -> MenuVersion:
    """The version as it is now, locked, for somebody who may. Raises NotPermitted."""
    require(by, verb, subject=subject_of(menu_version.menu, str(menu_version)))
    lock(MenuVersion, menu_version.pk)
    return MenuVersion.objects.with_menu().with_drinks().get(pk=menu_version.pk)


def _begin(
    menu: Menu, by: User, arrangement: Arrangement, *, note: str,
    based_on: MenuVersion | None = None,
) -> MenuVersion:  # fmt: skip
    lock_menu(menu.pk)
    last = menu.versions.aggregate(last=Max("number"))["last"] or 0
    made = MenuVersion.objects.create(
        menu=menu, number=last + 1, author=by, last_editor=by, note=note, based_on=based_on
    )
    _write(made, {}, arrangement)
    made.refresh_from_db(fields=["created_at"])
    return made


def _write(menu_version: MenuVersion, before: Arrangement, after: Arrangement) -> None:
    gone = [number for number, pk in before.items() if after.get(number) != pk]
    menu_version.drinks.filter(slot_number__in=gone).delete()
    MenuDrink.objects.bulk_create(
        MenuDrink(menu_version=menu_version, slot_number=number, version_id=after[number])
        for number in sorted(after)
        if before.get(number) != after[number]
    )


def _check(arrangement: Arrangement, checks: Checks) -> None:
    signed = Version.objects.filter(pk__in=arrangement.values(), signature__isnull=False)
    known = set(signed.values_list("pk", flat=True))
    for number, version in arrangement.items():
        checks.whole(f"slot_{number}", number, 1, MOST_SLOT_NUMBER)
        checks.that(version in known, f"slot_{number}", version, "the id of an approved version")


def _renewed(arrangement: Mapping[int, Version]) -> dict[int, int]:
    """The same recipes on the same slot numbers, each in its approved version."""
    recipes = {version.recipe_id for version in arrangement.values()}
    rows = Version.objects.approved().filter(recipe__in=recipes)
    newest = dict(rows.values_list("recipe_id", "pk"))
    return {
        number: newest.get(version.recipe_id, version.pk) for number, version in arrangement.items()
    }


# What a site's slots should hold now, as a menu would say it.


@dataclass(frozen=True, slots=True)
class Found:
    """A site's arrangement, and the slot numbers that its stations should not all hold alike."""

    arrangement: dict[int, int]
    uneven: tuple[int, ...]


def _differing(found: Found) -> str:
    """What whoever signs the menu is told of a choice that was made for them."""
    if not found.uneven:
        return ""
    numbers = ", ".join(map(str, found.uneven))
    return f" Its stations differ on slot {numbers}: what most hold is taken."


def found_at(site: Site) -> Found:
    """What each slot number of a site should hold; where stations differ, what most hold.

    A slot on permit counts with the recipe that it deviates from. Two queries.
    """
    rows = Placement.objects.in_force().filter(site=site).exclude(settings__content_digest="")
    held = list(rows.values_list("slot__number", "settings__content_digest"))
    signed = Version.objects.signed_as({digest for _, digest in held})
    by_digest = dict(signed.values_list("content_digest", "pk"))
    votes: dict[int, Counter[int]] = {}
    for number, digest in held:
        if digest in by_digest and number <= MOST_SLOT_NUMBER:
            votes.setdefault(number, Counter())[by_digest[digest]] += 1
    most = {
        number: max(counts, key=lambda pk: (counts[pk], pk)) for number, counts in votes.items()
    }
    uneven = tuple(sorted(number for number, counts in votes.items() if len(counts) > 1))
    return Found(dict(sorted(most.items())), uneven)
