"""Enrolling a site's tablet, renaming and revoking it, and what is allowed at the site."""

import secrets
from contextlib import AbstractContextManager
from datetime import timedelta

from django.db.models import F
from django.db.models.functions import Now
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import UNSHOWN, Invalid, NotFound, Problem, Refused, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User, all_sites
from people.persons.permissions import require
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from people.sign_in.models import End
from people.sign_in.sessions import end_at_tablet
from people.tablets.models import NAME_LENGTH, Shown, Tablet, TabletPolicy, digest_of
from web.checks import taken
from web.text import line_of

TABLET_ADDED = register("tablet.added", "Made a code to enrol a tablet")
TABLET_ENROLLED = register("tablet.enrolled", "Enrolled tablet")
TABLET_RENAMED = register("tablet.renamed", "Renamed tablet")
TABLET_REVOKED = register("tablet.revoked", "Revoked tablet")
TABLET_KEY_RENEWED = register("tablet.key_renewed", "Renewed the key of a tablet")
TABLET_COPIED = register("tablet.copied", "Found a copy of a tablet's key")
TABLET_POLICY_SET = register("tablet.policy_set", "Set what tablets and codes show")

# Neither 0 and o nor 1, l and i, and no vowels, so that it spells nothing. 27^8 is 38 bits.
LETTERS = "23456789bcdfghjkmnpqrstvwxz"
CODE_LENGTH = 8
CODE_LIVES = timedelta(minutes=10)


def subject_of(tablet: Tablet) -> Subject:
    """The tablet as the history names it."""
    return Subject("tablet", tablet.pk, tablet.name)


def add_tablet(*, by: User, site_id: int, name: str) -> tuple[Tablet, str]:
    """A tablet to be enrolled, and the code for it, which is not kept: show it once.

    Raises Invalid (name, site), NotPermitted.
    """
    with recorded(by=by, action=TABLET_ADDED, site_id=site_id):
        require_in_full(by, "enrol a tablet")
        require(by, Verb.TABLET_ENROL, site_id)
        if not all_sites().filter(pk=site_id).exists():
            raise Invalid("site", site_id, "one of the sites")
        code = _new_code()
        tablet = Tablet(
            site_id=site_id,
            name=line_of("name", name, NAME_LENGTH),
            made_by=by,
            code_digest=digest_of(code),
            code_until=timezone.now() + CODE_LIVES,
        )
        with _one_of_its_name(name):
            tablet.save(force_insert=True)
    return tablet, code


def new_code(*, by: User, tablet: Tablet, revision: int) -> str:
    """Another code, for one that was never enrolled; the one before is nothing any more.

    Raises NotPermitted, Refused, Stale.
    """
    with recorded(by=by, action=TABLET_ADDED, subject=subject_of(tablet), site_id=tablet.site_id):
        _require(by, tablet)
        if tablet.enrolled_at or tablet.revoked_at:
            raise Refused("It was enrolled or revoked already: add another one.")
        code = _new_code()
        until = timezone.now() + CODE_LIVES
        compare_and_set(tablet, revision, code_digest=digest_of(code), code_until=until, made_by=by)
    return code


def enrol(*, by: User | None, code: str) -> tuple[Tablet, str]:
    """The tablet that asks is the one of this code; its key, which is not kept: into its cookie.

    `by` is whoever is signed in at it, mostly nobody: the code stands for who made it. Of several
    with one code the first has it. Raises Invalid (code).
    """
    with recorded(by=by, action=TABLET_ENROLLED):
        secret, now = secrets.token_urlsafe(32), timezone.now()
        digest = digest_of(_as_made(code))
        waiting = Tablet.objects.filter(
            code_digest=digest, code_until__gt=now, enrolled_at=None, revoked_at=None
        )
        found = list(waiting.select_for_update().values_list("pk", flat=True))
        if not found:
            raise Invalid("code", UNSHOWN, "a code of the last ten minutes, not used before")
        Tablet.objects.filter(pk__in=found).update(
            enrolled_at=now,
            code_digest=None,
            code_until=None,
            digest=digest_of(secret),
            renewed_at=now,
            seen_at=now,
            revision=F("revision") + 1,
        )
    return Tablet.objects.get(pk=found[0]), secret


def rename_tablet(*, by: User, tablet: Tablet, revision: int, name: str) -> None:
    """Call it otherwise. Raises Invalid (name), NotPermitted, Stale."""
    with recorded(by=by, action=TABLET_RENAMED, subject=subject_of(tablet), site_id=tablet.site_id):
        _require(by, tablet)
        with _one_of_its_name(name):
            compare_and_set(tablet, revision, name=line_of("name", name, NAME_LENGTH))


def revoke_tablet(*, by: User, tablet: Tablet, revision: int) -> int:
    """End it at once, and whatever is open on it; how many sessions that were.

    Whoever takes over at this moment waits for it or is ended by it: both lock the row first.
    Raises NotPermitted, NotFound, Stale.
    """
    with recorded(by=by, action=TABLET_REVOKED, subject=subject_of(tablet), site_id=tablet.site_id):
        _require(by, tablet)
        if tablet.revoked_at:
            raise NotFound("This tablet has been revoked already.")
        compare_and_set(
            tablet,
            revision,
            revoked_at=timezone.now(),
            digest=None,
            former=None,
            code_digest=None,
            code_until=None,
        )
        return end_at_tablet(tablet.pk, End.TABLET)


def set_tablet_policy(
    *,
    by: User,
    site_id: int,
    revision: int,
    idle_minutes: int,
    shown: str,
    shown_on_tablet: str,
) -> TabletPolicy:
    """What the owner allows at a site. Raises Invalid, NotPermitted, Stale."""
    with recorded(by=by, action=TABLET_POLICY_SET, site_id=site_id):
        require_in_full(by, "set policy")
        require(by, Verb.POLICY_SET, site_id)
        if not all_sites().filter(pk=site_id).exists():
            raise Invalid("site", site_id, "one of the sites")
        if not 1 <= idle_minutes <= 60:
            raise Invalid("idle_minutes", idle_minutes, "a whole number from 1 to 60")
        for name, given in (("shown", shown), ("shown_on_tablet", shown_on_tablet)):
            if given not in Shown.values:
                raise Invalid(name, given, "one of " + ", ".join(Shown.values))
        policy = TabletPolicy.objects.get_or_create(site_id=site_id)[0]
        compare_and_set(
            policy,
            revision,
            idle_minutes=idle_minutes,
            shown=shown,
            shown_on_tablet=shown_on_tablet,
        )
    return policy


def note_copy(tablet: Tablet) -> None:
    """A key of it that was replaced was shown again: somebody has a copy of its cookie."""
    with recorded(by=None, action=TABLET_COPIED):
        Tablet.objects.filter(pk=tablet.pk, copied_at=None).update(copied_at=Now())


def renew_key(tablet: Tablet, shown: str) -> str:
    """Another key, to be put into its cookie, inside the action that is the cause of it.

    shown: the digest of the one that came with the request, good until the new one is shown.
    """
    secret = secrets.token_urlsafe(32)
    with recorded(by=None, action=TABLET_KEY_RENEWED):
        Tablet.objects.filter(pk=tablet.pk, revoked_at=None).update(
            former=shown,
            digest=digest_of(secret),
            renewed_at=timezone.now(),
            shown_at=None,
        )
    return secret


def _require(by: User, tablet: Tablet) -> None:
    require_in_full(by, "change a tablet", subject_of(tablet))
    require(by, Verb.TABLET_ENROL, tablet.site_id, subject_of(tablet))


def _one_of_its_name(typed: str) -> AbstractContextManager[None]:
    allowed = "a name that no other tablet of the site has"
    return taken(tablet_name_once_per_site=Problem("name", typed, allowed))


def _new_code() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def _as_made(typed: str) -> str:
    """The code as it was made, whatever the case and gaps it was typed with."""
    return "".join(typed.split()).replace("-", "").lower()
