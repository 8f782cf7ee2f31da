"""Enrolling a site's gateway, changing its key, revoking it."""

import hashlib
import secrets
from datetime import timedelta
from typing import TypedDict

from django.db.models import F
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import UNSHOWN, Invalid, NotFound, Problem, Refused, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.gateways.caller import Caller, name_gateway, subject_of
from stations.gateways.keys import thumbprint_of
from stations.gateways.models import NAME_LENGTH, Gateway, GatewayKey, GatewayStatus
from web.checks import taken
from web.text import line_of

GATEWAY_ADDED = register("gateway.added", "Made a code to enrol a gateway")
GATEWAY_ENROLLED = register("gateway.enrolled", "Enrolled gateway")
GATEWAY_KEY_GIVEN = register("gateway.key_given", "Gave a new key")
GATEWAY_KEY_CHANGED = register("gateway.key_changed", "Changed to its new key")
GATEWAY_REVOKED = register("gateway.revoked", "Revoked gateway")

# Neither vowels nor look-alikes: it may be read aloud. 27^12 is 57 bits.
LETTERS = "23456789bcdfghjkmnpqrstvwxz"
CODE_LENGTH = 12
CODE_LIVES = timedelta(minutes=30)


def digest_of(code: str) -> str:
    """SHA-256 in hex; 57 bits that live half an hour need no slow hash."""
    return hashlib.sha256(code.encode("utf-8", "replace")).hexdigest()


def add_gateway(*, by: User, site: Site, name: str) -> tuple[Gateway, str]:
    """A gateway to be enrolled at the site, and the code for it, which is shown this once.

    Raises Invalid (name), NotPermitted.
    """
    with recorded(by=by, action=GATEWAY_ADDED, site_id=site.pk):
        require_in_full(by, "enrol a gateway")
        require(by, Verb.GATEWAY_ENROL, site.pk)
        code = _new_code()
        gateway = Gateway(
            site=site, name=line_of("name", name, NAME_LENGTH), made_by=by,
            code_digest=digest_of(code), code_until=timezone.now() + CODE_LIVES,
        )  # fmt: skip
        other = Problem("name", name, "a name that no other gateway of the site has")
        with taken(gateway_name_once_per_site=other):
            gateway.save(force_insert=True)
        GatewayStatus.objects.create(gateway=gateway)
    return gateway, code


def new_code(*, by: User, gateway: Gateway, revision: int) -> str:
    """Another code for one that was never enrolled; the one before is nothing any more.

    Raises NotPermitted, Refused, Stale.
    """
    with recorded(by=by, action=GATEWAY_ADDED, **_about(gateway)):
        _require(by, gateway)
        if gateway.enrolled_at or gateway.revoked_at:
            raise Refused("It was enrolled or revoked already: add another one.")
        code = _new_code()
        until = timezone.now() + CODE_LIVES
        compare_and_set(
            gateway, revision, code_digest=digest_of(code), code_until=until, made_by=by
        )
    return code


def enrol(*, code: str, public: str, host: str, version: str, driver: str) -> Caller:
    """The program that asks is the gateway of this code, with this key, which signed the request.

    Of several with one code the first has it. Raises Invalid (code, public_key).
    """
    waiting = Gateway.objects.filter(
        code_digest=digest_of(_as_made(code)), enrolled_at=None, revoked_at=None
    )
    gateway = waiting.select_related("site").first()
    if gateway is None:
        raise _no_code()
    name_gateway(gateway.pk)
    with recorded(by=Caller(gateway), action=GATEWAY_ENROLLED, **_about(gateway)):
        now = timezone.now()
        enrolled = waiting.filter(pk=gateway.pk, code_until__gt=now).update(
            enrolled_at=now, code_digest=None, code_until=None, revision=F("revision") + 1
        )
        if not enrolled:
            raise _no_code()
        key = _write_key(gateway, public, used=True)
        GatewayStatus.objects.filter(gateway=gateway).update(
            seen_at=now, host=host, version=version, driver=driver
        )
    gateway.refresh_from_db()
    return Caller(gateway, key)


def give_key(*, by: Caller, public: str, seen_key: str) -> GatewayKey:
    """A key that takes the place of the one in use as soon as it signs; repeating is fine.

    ``seen_key``: the thumbprint that its request was signed with. Raises Invalid (public_key).
    """
    with recorded(by=by, action=GATEWAY_KEY_GIVEN, **_about(by.gateway)):
        keys = GatewayKey.objects.select_for_update().filter(gateway=by.gateway, ended_at=None)
        known = {key.thumbprint: key for key in keys}
        if seen_key not in known:
            raise Invalid("public_key", public, "given with the key that is in use")
        if found := known.get(thumbprint_of(public)):
            return found
        keys.filter(used_at=None).update(ended_at=timezone.now())
        return _write_key(by.gateway, public, used=False)


def take_over_key(*, by: Caller, key: GatewayKey) -> None:
    """A new key signed for the first time: the one before ends. Repeating is fine."""
    with recorded(by=by, action=GATEWAY_KEY_CHANGED, **_about(by.gateway)):
        keys = GatewayKey.objects.filter(gateway=by.gateway, ended_at=None)
        locked = set(keys.select_for_update().order_by("pk").values_list("pk", flat=True))
        if key.pk in locked:
            now = timezone.now()
            keys.exclude(pk=key.pk).update(ended_at=now)
            keys.filter(pk=key.pk, used_at=None).update(used_at=now)


def revoke_gateway(*, by: User, gateway: Gateway, revision: int) -> None:
    """End it and its keys at once: nothing it signs counts from here on.

    Raises NotPermitted, NotFound, Stale.
    """
    with recorded(by=by, action=GATEWAY_REVOKED, **_about(gateway)):
        _require(by, gateway)
        if gateway.revoked_at:
            raise NotFound("This gateway has been revoked already.")
        now = timezone.now()
        compare_and_set(gateway, revision, revoked_at=now, code_digest=None, code_until=None)
        GatewayKey.objects.filter(gateway=gateway, ended_at=None).update(ended_at=now)


def _write_key(gateway: Gateway, public: str, *, used: bool) -> GatewayKey:
    """Raises Invalid where a gateway has or had that key."""
    key = GatewayKey(
        gateway=gateway, thumbprint=thumbprint_of(public), public=public,
        used_at=timezone.now() if used else None,
    )  # fmt: skip
    had = Problem("public_key", public, "a key that no gateway ever had: make a new one")
    with taken(stations_gatewaykey_thumbprint_key=had):
        key.save(force_insert=True)
    return key


def _require(by: User, gateway: Gateway) -> None:
    require_in_full(by, "change a gateway", subject_of(gateway))
    require(by, Verb.GATEWAY_ENROL, gateway.site_id, subject_of(gateway))


class _About(TypedDict):
    subject: Subject
    site_id: int


def _about(gateway: Gateway) -> _About:
    """What `recorded` is told of it."""
    return {"subject": subject_of(gateway), "site_id": gateway.site_id}


def _no_code() -> Invalid:
    return Invalid("code", UNSHOWN, "a code of the last half hour, not used before")


def _new_code() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def _as_made(typed: str) -> str:
    """The code as it was made, whatever the case and gaps it was typed with."""
    return "".join(typed.split()).replace("-", "").lower()
