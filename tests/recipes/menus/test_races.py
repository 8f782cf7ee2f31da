"""Racing people: exactly one wins, the other is told why; each on a connection of its own."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from functools import partial

import pytest

from audit.errors import Invalid, Refused
from people.persons.models import User
from recipes.menus import publishing as menus_publishing
from recipes.menus.following import follow
from recipes.menus.models import Following, MenuVersion
from recipes.menus.plan import MenuPlan
from recipes.menus.publishing import publish_menu
from recipes.menus.review import approve, withdraw
from recipes.planning.signing import must_acknowledge
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from recipes.versions.review import withdraw as withdraw_version
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import credentials, third_roaster
from tests.publishing import quiet
from tests.races import at_once
from tests.recipes.menus import spring
from tests.recipes.publishing.hands import order_for, other_version, split
from tests.recipes.publishing.hands import signing as signing_version
from tests.services import rounds

__all__ = ["quiet"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(60, 6)
Acts = Sequence[Callable[[], object]]


def signing(menu: MenuVersion, by: User) -> partial[MenuVersion]:
    """The approval, still to be given."""
    seen = menu.content_digest
    return partial(approve, by=by, menu_version=menu, seen=seen, credentials=credentials(by))


def publishing(menu: MenuVersion, by: User) -> partial[Publication]:
    """The signature under a plan that was just seen, still to be given."""
    seen = spring.planned(menu, by)
    return partial(
        publish_menu, by=by, menu_version=menu, sites=seen.scope.ids, when=When(),
        seen=seen.digest, reason="Spring", credentials=credentials(by), acknowledged=True,
    )  # fmt: skip


def test_two_approvals(bar: Bar) -> None:
    third = third_roaster(bar.cast)
    for turn in range(ROUNDS):
        menu = spring.in_review(bar, {1: bar.version}, f"Menu {turn}")
        won, lost = split(at_once([signing(menu, bar.cast.second_roaster), signing(menu, third)]))
        assert (len(won), len(lost)) == (1, 1)
        menu.refresh_from_db()
        assert menu.state == "approved"


def test_an_approval_and_a_withdrawal_of_what_it_names(bar: Bar) -> None:
    """Whoever comes first: an approved menu never names what was withdrawn before."""
    by = bar.cast.head_roaster
    for turn in range(ROUNDS):
        short = other_version(bar, f"Short {turn}")
        menu = spring.in_review(bar, {1: short}, f"Menu {turn}")
        gone = partial(
            withdraw_version, by=by, version=short, revision=short.revision, reason="Sour"
        )
        acts: Acts = [signing(menu, bar.cast.second_roaster), gone]
        won, lost = split(at_once(acts))
        menu.refresh_from_db()
        short = Version.objects.get(pk=short.pk)
        assert short.state == "withdrawn"
        assert len(won) + (menu.state != "approved") == 2
        assert all(isinstance(each, Refused) for each in lost)


def test_a_menu_and_a_version_published_to_the_same_slots(bar: Bar) -> None:
    by, other = bar.cast.head_roaster, bar.cast.second_roaster
    menu = spring.approved(bar)
    spring.follows(menu.menu, bar.cast)
    for _ in range(ROUNDS):
        alone = signing_version(order_for(bar.version, other, Scope(Where.ALL)), other)
        won, lost = split(at_once([publishing(menu, by), alone]))
        assert len(won) == 1, lost
        waiting = Placement.objects.filter(state="scheduled")
        assert waiting.values("slot").distinct().count() == waiting.count() == len(bar.slots)
        assert set(waiting.values_list("basis_id", flat=True)) == {won[0].pk}
        waiting.update(state="cancelled")
        Publication.objects.filter(pk=won[0].pk).update(state="stopped")
        Publication.objects.filter(pk=won[0].pk).update(state="cancelled")


def test_a_withdrawal_and_a_publication(bar: Bar) -> None:
    by = bar.cast.head_roaster
    for turn in range(ROUNDS):
        menu = spring.approved(bar, {1: bar.version}, f"Menu {turn}")
        spring.follows(menu.menu, bar.cast, bar.cast.site)
        gone = partial(withdraw, by=by, menu_version=menu, revision=menu.revision, reason="Over")
        acts: Acts = [publishing(menu, by), gone]
        won, lost = split(at_once(acts))
        assert (len(won), len(lost)) == (1, 1)
        menu.refresh_from_db()
        assert (menu.state == "withdrawn") == isinstance(won[0], MenuVersion)
        waiting = Placement.objects.filter(state="scheduled")
        waiting.update(state="cancelled")
        for state in ("stopped", "cancelled"):
            Publication.objects.exclude(state="cancelled").update(state=state)
        follow(by=by, site=bar.cast.site, menu=None, instead_of=menu.menu_id)


def test_two_menus_for_one_site(bar: Bar) -> None:
    by = bar.cast.head_roaster
    menus = [spring.drafted(bar, {}, name).menu for name in ("Spring", "Autumn")]
    for _ in range(ROUNDS):
        acts = [partial(follow, by=by, site=bar.cast.site, menu=m, instead_of=None) for m in menus]
        won, lost = split(at_once(acts))
        assert (len(won), len(lost)) == (1, 1)
        [row] = Following.objects.current().filter(site=bar.cast.site)
        follow(by=by, site=bar.cast.site, menu=None, instead_of=row.menu_id)


SHORT = 1  # s: long enough for a decision that nobody holds back


def test_a_site_that_leaves_while_its_publication_is_signed_waits(
    bar: Bar, monkeypatch: pytest.MonkeyPatch
) -> None:
    by, menu = bar.cast.head_roaster, spring.approved(bar)
    spring.follows(menu.menu, bar.cast, bar.cast.site)
    leave = partial(follow, by=by, site=bar.cast.site, menu=None, instead_of=menu.menu_id)
    sign = publishing(menu, by)
    with ThreadPoolExecutor(1) as pool:

        def meanwhile(plan: MenuPlan, acknowledged: bool) -> None:
            leaving = pool.submit(at_once, [leave])
            wait([leaving], timeout=SHORT)
            assert not leaving.done(), "it left, and gets the menu after that"
            must_acknowledge(plan, acknowledged)

        monkeypatch.setattr(menus_publishing, "must_acknowledge", meanwhile)
        assert sign().state == "running"
    assert not Following.objects.current().exists()


def test_leaving_a_menu_and_publishing_it(bar: Bar) -> None:
    """Whoever comes first: nothing is signed for a site that left before."""
    by, menu = bar.cast.head_roaster, spring.approved(bar)
    for _ in range(ROUNDS):
        spring.follows(menu.menu, bar.cast, bar.cast.site)
        leave = partial(follow, by=by, site=bar.cast.site, menu=None, instead_of=menu.menu_id)
        acts: Acts = [publishing(menu, by), leave]
        _, lost = split(at_once(acts))
        assert all(isinstance(each, Invalid) for each in lost), lost
        left = Following.objects.latest("pk").until
        assert left
        for made in Publication.objects.filter(state="running").select_related("signature"):
            assert made.signature
            assert made.signature.at <= left
        Placement.objects.filter(state="scheduled").update(state="cancelled")
        for state in ("stopped", "cancelled"):
            Publication.objects.exclude(state="cancelled").update(state=state)
