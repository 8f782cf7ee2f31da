"""Mail in a real SMTP conversation: what is taken, put off, refused, and to whom nothing goes."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from audit.alarms import alarms
from people.mailing.models import Undeliverable
from people.notices.finding import find_matters
from people.notices.kinds import Found
from people.notices.models import Choice, Message, NoticeRule
from people.notices.posting import post
from people.notices.telling import tell
from people.persons.actions import change_person, remove_assignment
from people.persons.models import Assignment, User
from tests.cast import Cast, SignedIn
from tests.people.conftest import CODE, WHERE, Matters, Server

pytestmark = pytest.mark.usefixtures("server")


def arise(cast: Cast, matters: Matters, *keys: str, title: str = "Harbour: a slot differs") -> None:
    """Matters for the shop lead alone."""
    matters.is_now(
        *(
            Found(key, title, f"/slots/{key}/", "Say <b>why</b>", (cast.site.pk,),
                  to=cast.shop_lead.pk)
            for key in keys
        )
    )  # fmt: skip
    find_matters()
    tell()


def later() -> None:
    Message.objects.waiting().update(next_at=timezone.now() - timedelta(seconds=1))


def test_it_is_plain_and_html_and_marked_as_sent_by_a_program(
    cast: Cast, matters: Matters, server: Server
) -> None:
    arise(cast, matters, "1")
    assert post() == 1
    (mail,) = server.got
    message = Message.objects.get()
    assert mail["To"] == "shop_lead@example.com"
    assert mail["Subject"] == "[Portaledger] Harbour: a slot differs"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["Message-ID"].startswith(f"<{message.name}.")
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    plain = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    html = mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    assert f"{WHERE}/slots/1/" in plain
    assert "Say <b>why</b>" in plain
    assert "Say &lt;b&gt;why&lt;/b&gt;" in html
    assert (message.state, message.address) == ("sent", "shop_lead@example.com")


def test_many_go_over_one_connection(cast: Cast, matters: Matters, server: Server) -> None:
    matters.is_now(*(Found(str(n), "Thing", "/", "", (cast.site.pk,)) for n in range(3)))
    find_matters()
    tell()
    assert post() == 9
    assert (len(server.got), server.connections) == (9, 1)


def test_not_now_is_tried_again_later_with_the_same_message_id(
    cast: Cast, matters: Matters, server: Server
) -> None:
    server.answers["shop_lead@example.com"] = "450 4.2.1 Mailbox is busy"
    arise(cast, matters, "1")
    assert post() == 0
    waiting = Message.objects.get()
    assert (waiting.state, waiting.tries) == ("waiting", 1)
    assert "Mailbox is busy" in waiting.said
    assert timezone.now() < waiting.next_at < timezone.now() + timedelta(minutes=2)
    assert post() == 0
    assert len(server.tried) == 1  # not before its time
    later()
    post()
    second = Message.objects.get()
    assert second.next_at > timezone.now() + timedelta(seconds=90)  # twice as long
    server.answers.clear()
    later()
    assert post() == 1
    assert server.got[0]["Message-ID"].startswith(f"<{waiting.name}.")
    assert not Undeliverable.objects.exists()


def test_a_refused_address_is_shown_and_left_alone_until_it_is_another(
    cast: Cast, matters: Matters, server: Server, signed_in: SignedIn
) -> None:
    server.answers["shop_lead@example.com"] = "550 5.1.1 No such user"
    arise(cast, matters, "1")
    assert post() == 0
    assert "550 5.1.1 No such user" in Message.objects.get(state="refused").said
    for person, path in ((cast.owner, f"/people/{cast.shop_lead.pk}/"),
                         (cast.shop_lead, "/notices/")):  # fmt: skip
        assert "No such user" in signed_in(person).get(path).content.decode()
    assert any("No such user" in alarm.words for alarm in alarms())
    arise(cast, matters, "1", "2")
    later()
    post()
    assert len(server.tried) == 1
    lead = User.objects.get(pk=cast.shop_lead.pk)
    change_person(by=cast.owner, person=lead, revision=lead.revision, email="new@example.com",
                  name=lead.name)  # fmt: skip
    tell()
    assert post() == 2  # both last, and neither was ever taken
    assert {mail["To"] for mail in server.got} == {"new@example.com"}
    assert not any("No such user" in alarm.words for alarm in alarms())


def test_a_refused_message_condemns_no_address(
    cast: Cast, matters: Matters, server: Server
) -> None:
    server.to_data = "554 5.7.1 Looks like spam"
    arise(cast, matters, "1")
    post()
    assert Message.objects.get().state == "refused"
    assert not Undeliverable.objects.exists()
    tell()
    later()
    post()
    assert len(server.tried) == 1


def test_one_refusal_does_not_hold_up_the_others(
    cast: Cast, matters: Matters, server: Server
) -> None:
    server.answers["second_roaster@example.com"] = "550 Gone"
    matters.is_now(Found("1", "Thing", "/", "", (cast.site.pk,)))
    find_matters()
    tell()
    assert post() == 2


def test_an_address_that_no_mail_can_carry_does_not_hold_up_the_others(
    cast: Cast, matters: Matters, server: Server
) -> None:
    """Its name is longer in letters of the DNS (RFC 3492) than one may be."""
    User.objects.filter(pk=cast.second_roaster.pk).update(email=f"x@{'ü' * 60}.com")
    matters.is_now(Found("1", "Thing", "/", "", (cast.site.pk,)))
    find_matters()
    tell()
    assert post() == 2
    assert Undeliverable.objects.get().person == cast.second_roaster
    assert not Message.objects.waiting().exists()


def test_no_server_answers_and_nothing_is_lost(
    cast: Cast, matters: Matters, server: Server, settings: object
) -> None:
    arise(cast, matters, "1")
    real, settings.EMAIL_PORT = settings.EMAIL_PORT, 1  # type: ignore[attr-defined]
    assert post() == 0
    assert Message.objects.get().state == "waiting"
    settings.EMAIL_PORT = real  # type: ignore[attr-defined]
    later()
    assert post() == 1


def test_who_may_not_hear_of_it_any_more_gets_nothing(
    cast: Cast, matters: Matters, server: Server
) -> None:
    arise(cast, matters, "1")
    remove_assignment(by=cast.owner, assignment=Assignment.objects.get(user=cast.shop_lead))
    assert post() == 0
    assert server.tried == []
    assert Message.objects.get().state == "dropped"


def test_what_is_over_is_not_sent(cast: Cast, matters: Matters, server: Server) -> None:
    arise(cast, matters, "1")
    matters.is_now()
    find_matters()
    assert post() == 0
    assert server.tried == []


@pytest.mark.parametrize("evil", ["A\r\nBcc: all@example.com", "A\nX-Own: 1", "A\r\rB", "A\x0bB"])
def test_no_line_of_a_mail_is_made_of_what_it_tells(
    cast: Cast, matters: Matters, server: Server, evil: str
) -> None:
    arise(cast, matters, "1", title=evil)
    with connection.cursor() as cursor:  # past what the program does to titles
        cursor.execute("UPDATE people_matter SET title = %s", [evil])
    assert post() == 1
    (mail,) = server.got
    assert mail["Bcc"] is None
    assert mail["X-Own"] is None
    assert server.tried == ["shop_lead@example.com"]
    assert mail["Subject"].startswith("[Portaledger] A")


# Hearing no more of it, from the mail.


def stop_path(server: Server) -> str:
    address = str(server.got[0]["List-Unsubscribe"]).strip(" <>")
    assert address.startswith(f"{WHERE}/notices/stop/")
    return address.removeprefix(WHERE)


def test_one_click_without_sign_in_stops_that_kind_alone(
    cast: Cast, matters: Matters, server: Server
) -> None:
    arise(cast, matters, "1")
    post()
    path, browser = stop_path(server), Client(enforce_csrf_checks=True)
    assert browser.get(path).status_code == 200
    assert not Choice.objects.exists()  # scanners look at every link
    answer = browser.post(path, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert list(Choice.objects.values_list("person", "kind", "how")) == [
        (cast.shop_lead.pk, CODE, "off")
    ]
    arise(cast, matters, "1", "2")
    assert Message.objects.count() == 1


def test_a_forged_link_stops_nothing(cast: Cast, matters: Matters, server: Server) -> None:
    arise(cast, matters, "1")
    post()
    path = stop_path(server)
    value, _, rest = path.removeprefix("/notices/stop/").partition(":")
    for forged in (f"/notices/stop/{value[:-2]}xx:{rest}", "/notices/stop/x/", path[:-3] + "xy/"):
        assert Client().post(forged).status_code == 404
    assert not Choice.objects.exists()


def test_what_an_owner_asks_for_carries_no_such_link(
    cast: Cast, matters: Matters, server: Server
) -> None:
    arise(cast, matters, "1")
    post()
    path = stop_path(server)
    NoticeRule.objects.create(kind=CODE, at_least="daily")
    assert "That can't be switched off" in Client().post(path).content.decode()
    assert not Choice.objects.exists()
    server.got.clear()
    arise(cast, matters, "1", "2")
    Message.objects.waiting().update(next_at=timezone.now())
    post()
    assert all(mail["List-Unsubscribe"] is None for mail in server.got)


def test_the_links_in_a_mail_need_sign_in(cast: Cast, matters: Matters, server: Server) -> None:
    arise(cast, matters, "1")
    post()
    (mail,) = server.got
    links = set()
    for kind in ("plain", "html"):
        part = mail.get_body((kind,))
        assert part
        links |= set(re.findall(rf'{WHERE}(/[^\s"<>]*)', part.get_content()))
    stop = {link for link in links if link.startswith("/notices/stop/")}
    assert "/slots/1/" in links - stop
    for link in links - stop:
        answer = Client().get(link)
        assert answer.status_code == 302, link
        assert answer["Location"].startswith("/account/login/")
