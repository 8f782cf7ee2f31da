"""Tablets as tests need them: enrolled in a browser, taken over by PIN."""

from django.test import Client

from people.persons.models import User
from people.pins.actions import set_pin
from people.tablets.actions import add_tablet
from people.tablets.models import Tablet
from stations.equipment.models import Site
from tests.cast import Cast

PINS = {"barista": "7304", "shop_lead": "68147", "head_roaster": "925160", "other_lead": "58203"}
ENROL, CHOICE, LEAVE = "/tablet/enrol/", "/tablet/", "/tablet/leave/"


def a_tablet(
    cast: Cast, name: str = "Counter left", by: User | None = None, site: Site | None = None
) -> Client:
    """A browser that is an enrolled tablet, of the harbour if nothing is said; nobody is at it."""
    _, code = add_tablet(by=by or cast.shop_lead, site_id=(site or cast.site).pk, name=name)
    tablet = Client(REMOTE_ADDR="198.51.100.30")
    assert tablet.post(ENROL, {"code": code}).status_code == 302
    return tablet


def row_of(name: str = "Counter left") -> Tablet:
    """What is stored of it."""
    return Tablet.objects.get(name=name)


def with_pin(cast: Cast, name: str = "barista") -> User:
    """One of the cast, who has set a PIN."""
    person: User = getattr(cast, name)
    set_pin(by=person, digits=PINS[name])
    return person


def taken_over(tablet: Client, person: User, digits: str) -> int:
    """The status of taking over with these digits; 302 for the right ones."""
    return tablet.post(f"/tablet/people/{person.pk}/", {"pin": digits}).status_code


def at_work(cast: Cast, name: str = "barista") -> Client:
    """A tablet with one of the cast at it."""
    tablet = a_tablet(cast)
    person = with_pin(cast, name)
    assert taken_over(tablet, person, PINS[name]) == 302
    return tablet


def whose(tablet: Client) -> str | None:
    """The number of whoever is signed in there, as the session has it."""
    found: str | None = tablet.session.get("_auth_user_id")
    return found
