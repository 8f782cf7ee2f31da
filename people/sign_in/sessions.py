"""Being signed in somewhere: begun, seen, and ended by oneself, by an owner, or by time."""

import logging
from collections.abc import Collection
from datetime import timedelta

from allauth.account.internal.flows.login import get_authentication_records
from allauth.account.signals import password_changed, password_set
from django.contrib.sessions.models import Session
from django.db.models import QuerySet
from django.db.models.functions import Now
from django.dispatch import Signal, receiver
from django.http import HttpRequest

from audit.capture.context import record_refusal, recorded
from audit.characters import visible
from audit.errors import NotFound, Refused, Subject
from audit.quick import quick
from audit.vocabulary import register
from people.persons.actions import subject_of
from people.persons.models import User
from people.persons.somebodys import require_over, require_why
from people.sign_in.models import CLIENT_LENGTH, End, Factor, SignIn, Way
from web.middleware import client_address

SIGNED_IN = register("sign_in.begun", "Signed in")
SIGNED_OUT = register("sign_in.signed_out", "Signed out")
SIGN_IN_ENDED = register("sign_in.ended", "Ended a session")
SIGN_IN_EXPIRED = register("sign_in.expired", "A session expired")
SIGN_IN_REFUSED = register("sign_in.refused", "Was refused sign-in")

# Somebody has just signed in: with `request`, and `begun`, the row.
session_begun = Signal()
logger = logging.getLogger(__name__)
MARK = "sign_in"  # in the session: which row of ours it is
AT_TABLET = "tablet"  # in the session of whoever took over by PIN: at which tablet
IN_FULL_AT = "in_full_at"  # the same of whoever signed in there with password or passkey
TABLET = "tablet_pk"  # noted on a request: the enrolled tablet it comes from
SEEN_EVERY = timedelta(minutes=10)


def tablet_of(request: HttpRequest) -> int | None:
    """The number of the enrolled tablet that asks (people.tablets says so), if it is one."""
    found: int | None = vars(request).get(TABLET)
    return found


def begin(request: HttpRequest, person: User, *, by_pin: bool = False) -> None:
    """Note that somebody has just signed in here, how, from which address and with what."""
    if not request.session.session_key:
        request.session.save()
    way, factor = (Way.PIN, "") if by_pin else _ways(request, person)
    with recorded(by=person, action=SIGNED_IN):
        _end(SignIn.objects.live().filter(session_key=request.session.session_key), End.AGAIN)
        begun = SignIn.objects.create(
            user=person,
            session_key=request.session.session_key,
            way=way,
            factor=factor,
            tablet_id=tablet_of(request),
            address=client_address(request),
            client=client_of(request),
        )
    request.session[MARK] = begun.pk
    if begun.tablet_id and not by_pin:
        request.session[IN_FULL_AT] = begun.tablet_id
    session_begun.send(sender=SignIn, request=request, begun=begun)


def refuse_sign_in(
    request: HttpRequest, why: str, about: Subject | None, *, site_id: int | None = None
) -> None:
    """Into the history, with address and client, and as seldom as any refusal when repeated."""
    refused = Refused(why, subject=about, attempted={"client": (None, client_of(request))})
    record_refusal(refused, by=None, action=SIGN_IN_REFUSED, site_id=site_id)


def client_of(request: HttpRequest) -> str:
    """What the program at the other end calls itself, as it may be kept and shown."""
    return visible(" ".join(request.headers.get("User-Agent", "").split()))[:CLIENT_LENGTH]


def _ways(request: HttpRequest, person: User) -> tuple[Way, str]:
    """The way in, and the second factor if one was given, by the library's notes of this moment."""
    notes = get_authentication_records(request, person)
    factors = [note["type"] for note in notes if note["method"] == "mfa" and "type" in note]
    methods = {note["method"] for note in notes}
    factor = factors[-1] if factors and factors[-1] in Factor.values else ""
    if "socialaccount" in methods:
        return Way.SINGLE, factor
    if "password" in methods:
        return Way.PASSWORD, factor
    return (Way.PASSKEY, "") if factor == Factor.PASSKEY else (Way.PASSWORD, factor)


def here_of(request: HttpRequest) -> int:
    """The number of the session that asks; 0 where it is none of ours."""
    return int(request.session.get(MARK) or 0)


def sign_out(request: HttpRequest) -> None:
    """Note that whoever is signed in here signs out; the library ends the session."""
    here = SignIn.objects.live().filter(pk=here_of(request))
    if isinstance(request.user, User) and here.exists():
        with recorded(by=request.user, action=SIGNED_OUT):
            _end(here, End.SIGNED_OUT)


@receiver([password_changed, password_set])
def moved(request: HttpRequest, **_: object) -> None:
    """After a change of the password the session goes on, under another key."""
    here = SignIn.objects.live().filter(pk=here_of(request))
    here.update(session_key=request.session.session_key)


def end_session(*, by: User, session: SignIn, reason: str = "") -> None:
    """End one of one's own sessions at once, or as the owner anybody's, saying why.

    Raises NotPermitted, Invalid (reason), and NotFound if it has ended meanwhile.
    """
    with recorded(by=by, action=SIGN_IN_ENDED, reason=reason, subject=subject_of(session.user)):
        _require(by, session.user, reason)
        if not _end(SignIn.objects.live().filter(pk=session.pk), End.ENDED):
            raise NotFound("This session has ended already.")


def end_sessions(*, by: User, person: User, but: int, reason: str = "") -> int:
    """End all of somebody's sessions, or all `but` one (0: none); how many that were.

    Raises NotPermitted, Invalid (reason).
    """
    with recorded(by=by, action=SIGN_IN_ENDED, reason=reason, subject=subject_of(person)):
        _require(by, person, reason)
        return end_all(person, End.ENDED, but=but)


def end_all(person: User, end: End, *, but: int = 0) -> int:
    """Inside the action that is the cause of it."""
    return _end(SignIn.objects.live().filter(user=person).exclude(pk=but), end)


def end_at_tablet(tablet_pk: int, end: End) -> int:
    """All that is open at a tablet, inside the action that is the cause of it; how many."""
    return _end(SignIn.objects.live().filter(tablet=tablet_pk), end)


def end_by_pin(person: User, end: End, *, but_at: Collection[int] = ()) -> int:
    """What somebody has open by PIN, but at these sites, inside the action."""
    mine = SignIn.objects.live().filter(user=person, way=Way.PIN)
    elsewhere = mine.exclude(tablet__site__in=but_at)
    # By their numbers: a row joined to its tablet can't be locked.
    return _end(
        SignIn.objects.live().filter(pk__in=list(elsewhere.values_list("pk", flat=True))), end
    )


def end_here(request: HttpRequest, end: End) -> None:
    """The session that asks, at a tablet: whoever comes next finds nothing of it."""
    here = SignIn.objects.live().filter(pk=here_of(request))
    if isinstance(request.user, User):
        with recorded(by=request.user, action=SIGNED_OUT):
            _end(here, end)


def _require(by: User, person: User, reason: str) -> None:
    require_over(by, person.pk, "end sessions", subject_of(person))
    require_why(by, person.pk, reason)


def _end(rows: QuerySet[SignIn], end: End) -> int:
    """The browser's next request is nobody's: its session is gone from where it is looked up."""
    keys = dict(rows.select_for_update().values_list("pk", "session_key"))
    Session.objects.filter(session_key__in=keys.values()).delete()
    ended = SignIn.objects.filter(pk__in=keys)
    return ended.update(ended_at=Now(), end=end, session_key=None)


def note_expired() -> int:
    """Close the rows of sessions that are past their time or gone; how many. Repeating is fine."""
    with recorded(by=None, action=SIGN_IN_EXPIRED):
        valid = Session.objects.filter(expire_date__gt=Now()).values("session_key")
        return _end(SignIn.objects.live().exclude(session_key__in=valid), End.EXPIRED)


def note_seen(request: HttpRequest) -> None:
    """Keep when a session was last used, to ten minutes: no write for each request."""
    pk = here_of(request)
    if not pk:
        return
    if quick.add(f"session_seen:{pk}", 1, SEEN_EVERY.total_seconds()):
        SignIn.objects.live().filter(pk=pk).update(seen_at=Now())
