"""What holds of menus holds in the database, whatever way was taken."""

from collections.abc import Callable
from functools import partial

import pytest
from django.db import IntegrityError, transaction
from django.db.models import F

from audit.errors import Invalid, Refused, Stale
from people.persons.models import User
from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from recipes.menus.digest import content_digest
from recipes.menus.drafts import add_menu, edit_draft, new_draft
from recipes.menus.following import follow
from recipes.menus.models import Following, Menu, MenuDrink, MenuVersion
from recipes.menus.review import approve, return_to_author, submit, withdraw
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from recipes.versions.review import withdraw as withdraw_version
from tests.attacks import refused, sql
from tests.bar import Bar
from tests.cast import ApiAs, allow_sole_roaster, credentials
from tests.recipes.menus.spring import approved, drafted, follows, in_review, sent, signed

pytestmark = pytest.mark.django_db
FIXED = "never changes"


def forge(menu_version: MenuVersion, by: User, note: str = "") -> Signature:
    """A signature row that says all the right things."""
    return Signature.objects.create(
        user=by, name=by.name, role=Role.HEAD_ROASTER, meaning=Meaning.APPROVED,
        digest=menu_version.content_digest, subject_type="menu_version",
        subject_id=menu_version.pk, note=note,
    )  # fmt: skip


def by_update(menu_version: MenuVersion, signature: Signature) -> object:
    rows = MenuVersion.objects.filter(pk=menu_version.pk)
    return rows.update(state="approved", signature=signature)


def by_save(menu_version: MenuVersion, signature: Signature) -> None:
    menu_version.state, menu_version.signature = MenuVersion.State.APPROVED, signature
    menu_version.save()


def by_sql(menu_version: MenuVersion, signature: Signature) -> object:
    statement = "UPDATE recipes_menuversion SET state = 'approved', signature_id = %s WHERE id = %s"
    return sql(statement, signature.pk, menu_version.pk)()


WAYS: list[Callable[[MenuVersion, Signature], object]] = [by_update, by_save, by_sql]


@pytest.mark.parametrize("way", WAYS)
def test_nobody_approves_their_own(bar: Bar, way: Callable[..., object]) -> None:
    menu = in_review(bar)
    for note in ("", "sole-roaster policy"):
        refused(partial(way, menu, forge(menu, bar.cast.head_roaster, note)), "Nobody approves")
    with pytest.raises(Refused, match="Nobody approves"):
        signed(menu, bar.cast.head_roaster)


def test_but_where_one_roaster_does_all_and_then_it_says_so(bar: Bar) -> None:
    allow_sole_roaster(bar.cast)
    menu = signed(in_review(bar), bar.cast.head_roaster)
    assert menu.signature
    assert menu.signature.note == "sole-roaster policy"


@pytest.mark.parametrize("way", WAYS)
def test_an_approval_needs_a_signature_over_it(bar: Bar, way: Callable[..., object]) -> None:
    menu, other = in_review(bar), in_review(bar, {1: bar.version}, name="Autumn")
    refused(partial(way, menu, forge(other, bar.cast.second_roaster)), "needs a signature")


@pytest.mark.parametrize("state", ["in_review", "approved"])
def test_the_digest_is_that_of_the_content(bar: Bar, state: str) -> None:
    menu = drafted(bar)
    rows = MenuVersion.objects.filter(pk=menu.pk)
    refused(partial(rows.update, state=state, content_digest="0" * 64), "digest|cannot go")


@pytest.mark.parametrize("note", ["", 'Lighter "and" softer\n\\ ünïcode \u2028', "\t"])
def test_python_and_the_database_agree_on_the_digest(bar: Bar, note: str) -> None:
    """Otherwise the submission itself would be refused."""
    numbers = dict.fromkeys((1, 2, 3, 10, 11, 20), bar.version.pk)
    menu = drafted(bar, {}, name="A “quoted” \\ name")
    menu.refresh_from_db()
    edit_draft(
        by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision, arrangement=numbers,
        note=note.strip(),
    )  # fmt: skip
    menu.refresh_from_db()
    done = submit(by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision)
    assert done.content_digest == content_digest(done)


ON_IT: list[Callable[[MenuVersion], object]] = [
    lambda menu: menu.drinks.update(slot_number=F("slot_number") + 10),
    lambda menu: menu.drinks.all().delete(),
    lambda menu: menu.drinks.create(slot_number=9, version=menu.drinks.all()[0].version),
    lambda menu: MenuDrink.objects.bulk_create(
        [MenuDrink(menu_version=menu, slot_number=8, version=menu.drinks.all()[0].version)]
    ),
    lambda menu: sql("UPDATE recipes_menudrink SET slot_number = 9 WHERE menu_version_id = %s"
                     " AND slot_number = 1", menu.pk)(),
    lambda menu: sql("DELETE FROM recipes_menudrink WHERE menu_version_id = %s", menu.pk)(),
    lambda menu: MenuVersion.objects.filter(pk=menu.pk).update(note="Other"),
    lambda menu: MenuVersion.objects.filter(pk=menu.pk).update(content_digest="0" * 64),
]  # fmt: skip


@pytest.mark.parametrize("attempt", ON_IT)
@pytest.mark.parametrize("made", [in_review, approved])
def test_what_was_submitted_never_changes(
    bar: Bar, made: Callable[[Bar], MenuVersion], attempt: Callable[[MenuVersion], object]
) -> None:
    refused(partial(attempt, made(bar)), FIXED)


def test_no_slot_number_twice(bar: Bar) -> None:
    menu = drafted(bar)
    again = partial(menu.drinks.create, slot_number=1, version=bar.version)
    refused(again, "menu_drink_once_per_slot_number")
    statement = "UPDATE recipes_menudrink SET slot_number = 1 WHERE menu_version_id = %s"
    refused(sql(statement, menu.pk), "menu_drink_once_per_slot_number")


def test_nor_by_the_api(bar: Bar, api_as: ApiAs) -> None:
    menu = drafted(bar)
    client = api_as(bar.cast.head_roaster)
    tag = client.get(f"/api/v1/menu-versions/{menu.pk}/").headers["ETag"]
    drinks = [{"slot_number": 1, "version": bar.version.pk}] * 2
    answer = client.put(
        f"/api/v1/menu-versions/{menu.pk}/", {"drinks": drinks}, headers={"If-Match": tag}
    )
    assert answer.status_code == 400
    assert "every slot number once" in answer.content.decode()


@pytest.mark.parametrize("number", [0, 100])
def test_slot_numbers_are_from_1_to_99(bar: Bar, number: int) -> None:
    menu = drafted(bar)
    refused(
        partial(menu.drinks.create, slot_number=number, version=bar.version),
        "menu_drink_slot_number_from_1_to_99|recipes_menudrink_slot_number_check",
    )
    menu.refresh_from_db()
    with pytest.raises(Invalid, match="1 to 99"):
        edit_draft(
            by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision,
            arrangement={number: bar.version.pk},
        )  # fmt: skip


def out_of_use(bar: Bar) -> None:
    """The double is withdrawn."""
    version = Version.objects.get(pk=bar.version.pk)
    by = bar.cast.head_roaster
    withdraw_version(by=by, version=version, revision=version.revision, reason="Too sour")


def test_one_that_names_a_withdrawn_version_is_not_submitted(bar: Bar) -> None:
    menu = drafted(bar)
    out_of_use(bar)
    menu.refresh_from_db()
    with pytest.raises(Refused, match="Slot 1 names Morning blend"):
        submit(by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision)


@pytest.mark.parametrize("way", WAYS)
def test_nor_approved_by_nobody_and_no_way(bar: Bar, way: Callable[..., object]) -> None:
    menu = in_review(bar)
    out_of_use(bar)
    with pytest.raises(Refused, match="Slot 1 names Morning blend"):
        signed(menu, bar.cast.second_roaster)
    refused(partial(way, menu, forge(menu, bar.cast.second_roaster)), "approved versions alone")


def test_an_empty_one_is_not_submitted(bar: Bar) -> None:
    menu = drafted(bar, {})
    menu.refresh_from_db()
    with pytest.raises(Refused, match="no drink yet"):
        submit(by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision)


def test_one_approved_of_each_menu(bar: Bar) -> None:
    first = approved(bar)
    draft = new_draft(by=bar.cast.head_roaster, based_on=first)
    waits = submit(by=bar.cast.head_roaster, menu_version=draft, revision=draft.revision)
    refused(
        partial(by_update, waits, forge(waits, bar.cast.second_roaster)),
        "menu_version_one_approved",
    )
    signed(waits, bar.cast.second_roaster)
    first.refresh_from_db()
    assert first.state == "superseded"


def test_a_returned_one_is_signed_as_it_is_then(bar: Bar) -> None:
    menu = in_review(bar)
    seen = menu.content_digest
    back = return_to_author(
        by=bar.cast.second_roaster, menu_version=menu, revision=menu.revision, remark="No short"
    )
    assert (back.state, back.remark) == ("draft", "No short")
    edit_draft(
        by=bar.cast.head_roaster, menu_version=back, revision=back.revision,
        arrangement={1: bar.version.pk},
    )  # fmt: skip
    back.refresh_from_db()
    submit(by=bar.cast.head_roaster, menu_version=back, revision=back.revision)
    with pytest.raises(Refused, match="The content moved"):
        approve(
            by=bar.cast.second_roaster, menu_version=back, seen=seen,
            credentials=credentials(bar.cast.second_roaster),
        )  # fmt: skip


def test_names_are_once_and_stay(bar: Bar) -> None:
    drafted(bar, {})
    with pytest.raises(Invalid, match="no other menu"):
        add_menu(by=bar.cast.head_roaster, name="SPRING")
    refused(partial(Menu.objects.update, name="Other"), "under its name")
    refused(sql("DELETE FROM recipes_menu"), "under its name")


# Who follows.


def test_a_site_follows_one_menu_at_a_time(bar: Bar) -> None:
    menu, other = drafted(bar, {}).menu, drafted(bar, {}, name="Autumn").menu
    follows(menu, bar.cast, bar.cast.site)
    by = bar.cast.head_roaster
    beside = partial(Following.objects.create, menu=other, site=bar.cast.site, by=by)
    refused(beside, "following_one_menu_a_site")
    with pytest.raises(Stale, match="follows Spring by now"):
        follow(by=by, site=bar.cast.site, menu=other, instead_of=None)
    follow(by=by, site=bar.cast.site, menu=other, instead_of=menu.pk)
    assert [each.until is None for each in Following.objects.order_by("pk")] == [False, True]


def test_what_was_followed_is_only_ended_once(bar: Bar) -> None:
    follows(drafted(bar, {}).menu, bar.cast, bar.cast.site)
    [row] = Following.objects.all()
    by = bar.cast.head_roaster
    for attempt in (
        partial(Following.objects.update, since="2020-01-01T00:00:00Z"),
        partial(Following.objects.update, by=bar.cast.owner),
        sql("DELETE FROM recipes_following"),
    ):
        refused(attempt, "only ended, once")
    follow(by=by, site=bar.cast.site, menu=None, instead_of=row.menu_id)
    refused(
        sql("UPDATE recipes_following SET until = NULL, ended_by_id = NULL"), "only ended, once"
    )


# What is published.


def test_a_publication_is_of_a_version_or_of_a_menu(bar: Bar) -> None:
    menu = approved(bar)
    follows(menu.menu, bar.cast)
    made = sent(menu, bar.cast.head_roaster)
    for columns in ({"version": bar.version}, {"menu_version": None}):
        refused(partial(Publication.objects.filter(pk=made.pk).update, **columns), FIXED)
    with pytest.raises(IntegrityError, match="of_a_version_or_a_menu"), transaction.atomic():
        Publication.objects.create(
            version=bar.version, menu_version=menu, author=bar.cast.owner, scope={}, scope_label="",
            plan_digest="0" * 64, reason="x",
        )  # fmt: skip


def test_a_menu_under_way_is_not_withdrawn(bar: Bar) -> None:
    menu = approved(bar)
    follows(menu.menu, bar.cast)
    sent(menu, bar.cast.head_roaster)
    with pytest.raises(Refused, match="Slots still wait for this menu"):
        withdraw(by=bar.cast.head_roaster, menu_version=menu, revision=menu.revision, reason="x")
