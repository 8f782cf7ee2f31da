"""Taking over at a tablet by PIN, and what ends that."""

from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth import login
from django.db.models import Q, QuerySet
from django.dispatch import receiver
from django.http import HttpRequest

from audit.capture.context import recorded
from audit.errors import UNSHOWN, Invalid, Refused
from people.confirming.lately import UNPROVEN
from people.persons.actions import role_removed
from people.persons.actions import subject_of as person_subject
from people.persons.models import User
from people.pins.actions import pin_moved
from people.pins.hashing import fits, fits_nothing
from people.pins.models import Pin
from people.sign_in.models import End
from people.sign_in.sessions import (
    AT_TABLET,
    SIGNED_IN,
    begin,
    end_by_pin,
    refuse_sign_in,
)
from people.tablets.actions import renew_key
from people.tablets.models import Tablet
from people.tablets.recognising import digest_shown, due_for_another
from people.tablets.tries import count_try, was_right

WRONG_PIN = "A wrong PIN was given."
TOO_OFTEN = "A PIN was tried too often."


def people_at(tablet: Tablet) -> QuerySet[User]:
    """Who may take over there: people with a PIN, and a role that covers the site. Every role has
    something to do at a bar."""
    there = Q(assignments__site=tablet.site_id) | Q(assignments__site=None)
    return (
        User.objects.filter(there, is_active=True, pin__isnull=False)
        .distinct()
        .order_by("name", "pk")
    )


@dataclass(frozen=True, slots=True)
class TakenOver:
    """Who took over; the tablet's new key, if it was time for one."""

    person: User
    key: str


def take_over(request: HttpRequest, *, tablet: Tablet, person: User, digits: str) -> TakenOver:
    """Sign somebody in at the tablet by their PIN, for the bar's day.

    Counted before it is looked at. Raises Invalid (pin), and Refused for too many wrong ones or a
    tablet, PIN or person that ended meanwhile.
    """
    try:
        counted = count_try(tablet, person)
    except Refused:
        refuse_sign_in(request, TOO_OFTEN, person_subject(person), site_id=tablet.site_id)
        raise
    pin = Pin.objects.filter(user=person).first()
    right = fits(person.pk, digits, pin.secret) if pin else fits_nothing()
    if not right or pin is None:
        refuse_sign_in(request, WRONG_PIN, person_subject(person), site_id=tablet.site_id)
        raise Invalid("pin", UNSHOWN, f"the PIN that {person} set")
    was_right(counted)
    return _begin(request, tablet, person, pin)


def _begin(request: HttpRequest, tablet: Tablet, person: User, pin: Pin) -> TakenOver:
    with recorded(by=person, action=SIGNED_IN, site_id=tablet.site_id):
        # In this order everywhere. Whoever ends one of them waits, and then finds this session.
        now = Tablet.objects.select_for_update().filter(pk=tablet.pk, revoked_at=None).first()
        locked = [
            User.objects.select_for_update().filter(pk=person.pk, is_active=True),
            Pin.objects.select_for_update().filter(pk=pin.pk, secret=pin.secret),
        ]
        if now is None or not all(list(rows.values_list("pk")) for rows in locked):
            raise Refused("This ended while you typed: choose again.")
        # As it is now: of several taps at once the first renewed it.
        key = renew_key(tablet, digest_shown(request)) if due_for_another(now) else ""
        setattr(request, UNPROVEN, True)  # a PIN confirms nothing
        login(request, person, backend=settings.AUTHENTICATION_BACKENDS[0])
        request.session[AT_TABLET] = tablet.pk
        begin(request, person, by_pin=True)
    return TakenOver(person, key)


@receiver(pin_moved)
def end_what_it_opened(person: User, **_: object) -> None:
    """By another PIN nothing of before goes on."""
    end_by_pin(person, End.PIN)


@receiver(role_removed)
def end_where_no_role_is(person: User, **_: object) -> None:
    """Who has no role at a site any more has nothing open at its tablets."""
    covered = {each.site_id for each in person.roles_held(anew=True)}
    if None not in covered:
        end_by_pin(person, End.ROLE, but_at=[pk for pk in covered if pk])
