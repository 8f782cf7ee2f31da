"""What tests of menus start from: two recipes, a menu in each state, sites that follow it."""

from collections.abc import Mapping
from datetime import UTC, datetime

from people.persons.models import User
from recipes.menus.drafts import add_menu, edit_draft
from recipes.menus.following import follow
from recipes.menus.models import Menu, MenuVersion
from recipes.menus.plan import MenuPlan, make_menu_plan
from recipes.menus.publishing import for_plan, publish_menu
from recipes.menus.review import approve, submit
from recipes.publishing.models import Publication
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Site
from tests.bar import Bar
from tests.cast import Cast, credentials
from tests.recipes.publishing.hands import other_version


def drafted(
    bar: Bar, says: Mapping[int, Version] | None = None, name: str = "Spring"
) -> MenuVersion:
    """A draft of the head roaster's: the double on slot 1, a short one on slot 2."""
    by = bar.cast.head_roaster
    made = add_menu(by=by, name=name)
    says = {1: bar.version, 2: other_version(bar)} if says is None else says
    numbers = {number: version.pk for number, version in says.items()}
    return edit_draft(by=by, menu_version=made, revision=made.revision, arrangement=numbers)


def in_review(
    bar: Bar, says: Mapping[int, Version] | None = None, name: str = "Spring"
) -> MenuVersion:
    """The same, submitted."""
    made = drafted(bar, says, name)
    made.refresh_from_db()
    return submit(by=bar.cast.head_roaster, menu_version=made, revision=made.revision)


def signed(menu_version: MenuVersion, by: User) -> MenuVersion:
    """What was submitted, approved by somebody."""
    seen = menu_version.content_digest
    return approve(by=by, menu_version=menu_version, seen=seen, credentials=credentials(by))


def approved(
    bar: Bar, says: Mapping[int, Version] | None = None, name: str = "Spring"
) -> MenuVersion:
    """The same, approved by the second roaster, with all that a plan reads."""
    made = signed(in_review(bar, says, name), bar.cast.second_roaster)
    return whole(made)


def whole(menu_version: MenuVersion) -> MenuVersion:
    """It, read anew with all that a plan reads."""
    found = for_plan(menu_version.pk)
    assert found
    return found


def follows(menu: Menu, cast: Cast, *sites: Site) -> None:
    """Let these sites follow it; both of the cast's if none is named."""
    for site in sites or (cast.site, cast.other_site):
        follow(by=cast.head_roaster, site=site, menu=menu, instead_of=None)


def planned(
    menu_version: MenuVersion, by: User, *sites: Site, when: When | None = None
) -> MenuPlan:
    """The plan as somebody sees it now."""
    wanted = [site.pk for site in sites] or [
        each.site_id for each in menu_version.menu.followings.filter(until=None)
    ]
    return make_menu_plan(
        by=by, menu_version=menu_version, sites=wanted, when=when or When(), now=datetime.now(UTC)
    )


def sent(
    menu_version: MenuVersion, by: User, *sites: Site, when: When | None = None
) -> Publication:
    """Planned and signed in one go."""
    seen = planned(menu_version, by, *sites, when=when)
    return publish_menu(
        by=by, menu_version=menu_version, sites=seen.scope.ids, when=when or When(),
        seen=seen.digest, reason="Spring", credentials=credentials(by), acknowledged=True,
        learnt_until=seen.learnt_until,
    )  # fmt: skip
