"""What several do at once: one code, one bound of tries, revoking beside taking over."""

from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from audit.errors import Invalid
from people.pins.actions import remove_pin
from people.sign_in.models import SignIn
from people.tablets.actions import add_tablet, enrol, revoke_tablet
from people.tablets.models import PinTry, Tablet
from people.tablets.tries import FREE_PERSON
from tests.cast import Cast
from tests.people.tablets.bench import PINS, a_tablet, row_of, taken_over, with_pin
from tests.races import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def again(tablet: Client) -> Client:
    """Another tab of the same tablet."""
    tab = Client(REMOTE_ADDR="198.51.100.30")
    tab.cookies["tablet"] = tablet.cookies["tablet"].value
    return tab


def test_one_code_enrols_one_tablet(cast: Cast) -> None:
    code = add_tablet(by=cast.shop_lead, site_id=cast.site.pk, name="One")[1]
    outcomes = at_once([lambda: enrol(by=None, code=code)] * 6)
    assert sum(isinstance(each, tuple) for each in outcomes) == 1
    assert sum(isinstance(each, Invalid) for each in outcomes) == 5
    assert Tablet.objects.in_use().count() == 1


def test_a_name_is_one_tablets(cast: Cast) -> None:
    def one(name: str) -> Callable[[], object]:
        return lambda: add_tablet(by=cast.owner, site_id=cast.site.pk, name=name)

    for n in range(4):
        outcomes = at_once([one(f"Bar {n}"), one(f"bar {n}"), one(f"BAR {n}")])
        kinds = sorted(type(each).__name__ for each in outcomes)
        assert kinds == ["Invalid", "Invalid", "tuple"], outcomes


def test_tries_at_once_do_not_pass_the_bound(cast: Cast) -> None:
    tablet, person = a_tablet(cast), with_pin(cast)
    tabs = [again(tablet) for _ in range(FREE_PERSON + 7)]

    def asks(n: int, tab: Client) -> Callable[[], int]:
        return lambda: taken_over(tab, person, f"{n:02}99")

    asked = [asks(n, tab) for n, tab in enumerate(tabs)]
    outcomes = at_once(asked)
    assert sorted(map(str, outcomes)) == ["400"] * FREE_PERSON + ["409"] * 7
    assert PinTry.objects.count() == FREE_PERSON


@pytest.mark.parametrize("ending", ["tablet", "pin"])
def test_revoked_beside_a_taking_over(cast: Cast, ending: str) -> None:
    """Whichever comes first: afterwards nothing is open there."""
    for n in range(4):
        _race(cast, f"Tablet {n}", ending)


def _race(cast: Cast, name: str, ending: str) -> None:
    tablet, person = a_tablet(cast, name), with_pin(cast)
    stored = row_of(name)

    def end() -> int:
        if ending == "tablet":
            return revoke_tablet(by=cast.shop_lead, tablet=stored, revision=stored.revision)
        remove_pin(by=cast.owner, person=cast.barista)
        return 0

    outcomes = at_once([end, lambda: taken_over(tablet, person, PINS["barista"])])
    assert str(outcomes[1]) in {"302", "409", "404", "400"}, outcomes
    assert not SignIn.objects.live().filter(tablet=stored).exists()
    assert tablet.get("/board/").status_code == 302
    kept = Session.objects.filter(session_key=tablet.session.session_key)
    assert not kept.exists() or "_auth_user_id" not in tablet.session
