"""The pages: what there is for me, what I choose, what an owner asks for."""

import pytest

from audit.capture.models import Entry
from people.notices.finding import find_matters
from people.notices.kinds import Found
from people.notices.models import Choice, NoticeRule, Reader
from people.notices.seen import opened_by
from tests.cast import Cast, SignedIn
from tests.people.conftest import CODE, Matters


def test_what_there_is_stands_there_without_any_mail(
    cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    matters.is_now(Found("1", "Slot 1 differs", "/slots/1/", "", (cast.site.pk,)))
    find_matters()
    page = signed_in(cast.shop_lead).get("/notices/").content.decode()
    assert "Slot 1 differs" in page
    assert "is not set up" in page
    assert "Slot 1 differs" not in signed_in(cast.other_lead).get("/notices/").content.decode()


def test_choosing_keeps_only_what_was_changed(
    cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.shop_lead)
    sent = {CODE: "at_once", "hour": "9", "weekday": "3"}
    assert browser.post("/notices/", sent).status_code == 302
    assert not Choice.objects.exists()
    assert Reader.objects.values_list("hour", "weekday").get() == (9, 3)
    assert browser.post("/notices/", {**sent, CODE: "weekly"}).status_code == 302
    assert Choice.objects.get().how == "weekly"


def test_a_kind_that_ones_roles_do_not_bring_is_not_offered(
    cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    assert "Something at a slot" not in signed_in(cast.barista).get("/notices/").content.decode()


def test_an_owner_asks_for_it_and_the_history_says_so(
    cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    owner = signed_in(cast.owner)
    assert owner.post("/policy/notices/", {CODE: "daily", "seen": "nothing"}).status_code == 302
    assert NoticeRule.objects.get().at_least == "daily"
    entry = Entry.objects.get(action="notices.set")
    assert (entry.actor, entry.subject) == ("Owner", "Notices: slot matter")
    lead = signed_in(cast.shop_lead)
    for how, status in (("off", 400), ("weekly", 400), ("push", 302)):
        sent = {CODE: how, "hour": "9", "weekday": "3"}
        assert lead.post("/notices/", sent).status_code == status
    # What somebody else changed meanwhile is not overwritten unseen.
    assert owner.post("/policy/notices/", {CODE: "", "seen": "nothing"}).status_code == 412
    assert NoticeRule.objects.exists()
    assert owner.post("/policy/notices/", {CODE: "", "seen": f"{CODE}=daily"}).status_code == 302
    assert not NoticeRule.objects.exists()


@pytest.mark.parametrize("who", ["head_roaster", "shop_lead", "barista"])
def test_nobody_else_asks_for_it(
    who: str, cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    browser = signed_in(cast.everyone()[who])
    assert browser.post("/policy/notices/", {CODE: "daily", "seen": "nothing"}).status_code == 403
    assert not NoticeRule.objects.exists()


def test_opening_the_page_of_a_matter_marks_it_seen(
    cast: Cast, matters: Matters, signed_in: SignedIn
) -> None:
    signed_in(cast.owner).get("/people/")
    assert [path for _, path, _ in opened_by([cast.owner.pk])] == ["/people/"]
    signed_in(cast.owner).get("/policy/")
    assert [path for _, path, _ in opened_by([cast.owner.pk])] == ["/people/"]
