"""A menu that the demo's city bars follow, and the season's change of it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta

from recipes.demo.people import Cast
from recipes.menus.drafts import add_menu, edit_draft, new_draft
from recipes.menus.following import follow
from recipes.menus.models import MenuVersion
from recipes.menus.plan import make_menu_plan
from recipes.menus.publishing import for_plan, publish_menu
from recipes.menus.review import approve, submit
from recipes.publishing import run
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Site

CITY = ("harbour", "tramway", "citadel")
FIRST = "harbour"
SEASONAL = 3  # the slot number that changes with the season


def begin_menu(cast: Cast, sites: Mapping[str, Site]) -> MenuVersion:
    """Like Harbour; three bars follow it, and hold it already."""
    draft = add_menu(by=cast["head_roaster"], name="City bars", like=sites["harbour"])
    menu = _approved(cast, draft)
    for code in CITY:
        follow(by=cast["head_roaster"], site=sites[code], menu=menu.menu, instead_of=None)
    reason = "The city bars agree on three buttons."
    _published(cast, menu, _followers(menu), When(), reason)
    return menu


def change_menu(cast: Cast, menu: MenuVersion, instead: Version, today: date) -> None:
    """Spring: from Monday at six the third button holds something else, at one bar to begin with."""
    by = cast["head_roaster"]
    draft = new_draft(by=by, based_on=menu)
    says = {number: version.pk for number, version in draft.arrangement.items()}
    edit_draft(
        by=by, menu_version=draft, revision=draft.revision,
        arrangement=says | {SEASONAL: instead.pk},
        note="Spring: decaf on the third button until the next hill lot.",
    )  # fmt: skip
    # Harbour first: something else waits for that button at Tramway, and a permit would end at
    # Citadel.
    first = [each for each in _followers(menu) if each.code == FIRST]
    when = When(today + timedelta(days=7 - today.weekday()), time(6))
    _published(cast, _approved(cast, draft), first, when, "Spring begins at Harbour on Monday.")


def _followers(menu: MenuVersion) -> list[Site]:
    follows = menu.menu.followings.filter(until=None).select_related("site")
    return [each.site for each in follows]


def _approved(cast: Cast, draft: MenuVersion) -> MenuVersion:
    draft.refresh_from_db()
    shown = submit(by=cast["head_roaster"], menu_version=draft, revision=draft.revision)
    return approve(
        by=cast["second_roaster"], menu_version=shown, seen=shown.content_digest,
        credentials=cast.signs("second_roaster"),
    )  # fmt: skip


def _published(cast: Cast, menu: MenuVersion, at: Sequence[Site], when: When, reason: str) -> None:
    by, whole, sites = cast["head_roaster"], for_plan(menu.pk), [site.pk for site in at]
    assert whole
    plan = make_menu_plan(by=by, menu_version=whole, sites=sites, when=when, now=datetime.now(UTC))
    publication = publish_menu(
        by=by, menu_version=whole, sites=sites, when=when, seen=plan.digest, reason=reason,
        credentials=cast.signs("head_roaster"), acknowledged=True, learnt_until=plan.learnt_until,
    )  # fmt: skip
    run.run(publication.pk)
