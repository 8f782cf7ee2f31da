"""What is decided about a menu's version: submitted, returned, approved, withdrawn."""

from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.errors import Refused
from audit.revision import must_be_at
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign
from recipes.menus import history
from recipes.menus.digest import content_digest
from recipes.menus.drafts import lock_menu, lock_menu_version, subject_of
from recipes.menus.models import MenuVersion
from recipes.versions.deciding import (
    advance,
    four_eyes,
    is_barred,
    must_be,
    must_be_as_seen,
    must_be_newest,
    supersede,
)
from recipes.versions.models import Version
from recipes.versions.review import COMMENT
from web.checks import Checks

State = MenuVersion.State


def submit(*, by: User, menu_version: MenuVersion, revision: int) -> MenuVersion:
    """Put a draft before a second person; its arrangement is fixed from here on.

    Raises NotPermitted, Stale, and Refused if it is no draft, says nothing, or names a version
    that is approved no more.
    """
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=history.MENU_SUBMITTED, subject=subject):
        now = lock_menu_version(menu_version, by, Verb.RECIPE_SUBMIT)
        must_be(now, State.DRAFT, to="submitted")
        must_be_at(now, revision)
        must_be_in_use(now)
        return advance(
            now,
            state=State.IN_REVIEW,
            content_digest=content_digest(now),
            submitted_at=Now(),
            submitted_by=by,
            remark="",
        )


def return_to_author(
    *, by: User, menu_version: MenuVersion, revision: int, remark: str
) -> MenuVersion:
    """Make it a draft again, saying why. Raises NotPermitted, Refused, Stale, Invalid."""
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=history.MENU_RETURNED, reason=remark, subject=subject):
        now = lock_menu_version(menu_version, by, Verb.RECIPE_RETURN)
        must_be(now, State.IN_REVIEW, to="returned")
        must_be_at(now, revision)
        checks = Checks()
        text = checks.text("remark", remark, most=COMMENT, lines=True)
        checks.done()
        return advance(now, state=State.DRAFT, content_digest="", remark=text)


def approve(
    *, by: User, menu_version: MenuVersion, seen: str, credentials: Credentials
) -> MenuVersion:
    """Sign a version in review; the menu's approved version so far becomes superseded.

    ``seen`` is the content digest that the signer was shown. Raises NotPermitted, Invalid for the
    password, and Refused if it is not in review, is the signer's own work, moved since it was
    seen, is older than one approved meanwhile, or names a version that is approved no more.
    """
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=history.MENU_APPROVED, subject=subject) as recording:
        lock_menu(menu_version.menu_id)
        now = lock_menu_version(menu_version, by, Verb.RECIPE_APPROVE)
        must_be(now, State.IN_REVIEW, to="approved")
        note = four_eyes(own_work(now, by))
        must_be_as_seen(now, content_digest(now), seen)
        must_be_newest(now, _newer(now))
        must_be_in_use(now)
        signature = sign(
            by=by,
            credentials=credentials,
            meaning=Meaning.APPROVED,
            digest=now.content_digest,
            subject_type="menu_version",
            subject_id=now.pk,
            verb=Verb.RECIPE_APPROVE,
            note=note,
        )
        recording.signed(signature.pk)
        current = MenuVersion.objects.approved().filter(menu=now.menu)
        supersede(current, by, now, history.MENU_SUPERSEDED)
        with recorded(by=by, action=history.MENU_APPROVED, reason=note):
            return advance(now, state=State.APPROVED, signature=signature)


def withdraw(*, by: User, menu_version: MenuVersion, revision: int, reason: str) -> MenuVersion:
    """Take a draft, a version in review or an approved one out of use, for good.

    Slots keep what they hold, and sites go on following the menu. Raises NotPermitted, Stale,
    Invalid without a reason, Refused where it is out of use already.
    """
    checks = Checks()
    reason = checks.text("reason", reason, most=COMMENT, lines=True)
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=history.MENU_WITHDRAWN, reason=reason, subject=subject):
        now = lock_menu_version(menu_version, by, Verb.RECIPE_WITHDRAW)
        must_be(now, State.DRAFT, State.IN_REVIEW, State.APPROVED, to="withdrawn")
        must_be_at(now, revision)
        checks.done()
        _must_not_be_under_way(now)
        return advance(now, state=State.WITHDRAWN)


def own_work(menu_version: MenuVersion, user: User) -> bool:
    """Whether they drafted or last edited it, and so may not approve it."""
    return user.pk in {menu_version.author_id, menu_version.last_editor_id}


def barred(menu_version: MenuVersion, user: User) -> bool:
    """Whether they may not approve it as their own work, the owner's policy considered."""
    return is_barred(own_work(menu_version, user))


def must_be_in_use(menu_version: MenuVersion) -> None:
    """Raise Refused unless it says something, and of approved versions alone.

    Holds those, so that nobody withdraws or supersedes one before this is done.
    """
    if not menu_version.arrangement:
        raise Refused("The menu holds no drink yet: put a version on at least one slot number.")
    on_it = Version.objects.filter(pk__in=[each.pk for each in menu_version.arrangement.values()])
    held = on_it.order_by("pk").select_for_update(no_key=True).values_list("pk", "state")
    states = dict(held)
    for number, version in menu_version.arrangement.items():
        if states[version.pk] != State.APPROVED:
            raise Refused(
                f"Slot {number} names {version}, which is {State(states[version.pk]).label}.",
                how_to_ask="Begin a new version of the menu, which takes today's approved ones.",
            )


def _newer(menu_version: MenuVersion) -> MenuVersion | None:
    later = MenuVersion.objects.filter(menu=menu_version.menu, number__gt=menu_version.number)
    return later.filter(signature__isnull=False).first()


def _must_not_be_under_way(menu_version: MenuVersion) -> None:
    under_way = menu_version.publications.under_way().order_by("pk").first()
    if under_way:
        raise Refused(
            f"Slots still wait for this menu: {under_way} is {under_way.get_state_display()}.",
            how_to_ask="Stop it and cancel the rest, or let it finish; then withdraw.",
        )
