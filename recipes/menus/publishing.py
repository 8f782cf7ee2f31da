"""Signing the plan for a menu: several versions, one signature, one moment."""

from collections.abc import Iterable
from datetime import datetime

from audit.capture.context import recorded
from audit.errors import Refused
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.signatures.signing import Credentials
from recipes.menus.drafts import subject_of
from recipes.menus.models import Following, MenuVersion
from recipes.menus.plan import MenuPlan, make_menu_plan, scope_of, unapproved_of
from recipes.menus.review import must_be_in_use
from recipes.planning.plan import PUBLICATION
from recipes.planning.signing import Signer, must_acknowledge, say_why, settled
from recipes.publishing.actions import carry_out, moment_of_signing
from recipes.publishing.history import PUBLICATION_SIGNED
from recipes.publishing.models import Publication
from recipes.publishing.timing import When


def publish_menu(
    *,
    by: User,
    menu_version: MenuVersion,
    sites: Iterable[int],
    when: When,
    seen: str,
    reason: str,
    credentials: Credentials,
    acknowledged: bool = False,
    learnt_until: datetime | None = None,
) -> Publication:
    """Sign a plan for a menu at sites (ids) that follow it, and schedule all its placements.

    ``seen`` and ``learnt_until`` are as in `recipes.publishing.actions.publish`. Raises
    NotPermitted, Invalid, and Refused when the menu or a version on it is not approved, a slot
    number exists nowhere, nothing can be placed, or the plan is no longer what was seen.
    """
    subject = subject_of(menu_version.menu, str(menu_version))
    with recorded(by=by, action=PUBLICATION_SIGNED, reason=reason, subject=subject) as recording:
        require(by, Verb.PUBLICATION_SIGN, subject=subject)
        reason = say_why(reason, "it is published")
        held, now = _approved(menu_version), moment_of_signing(learnt_until)
        wanted = tuple(sites)
        _keep_following(held, wanted)
        plan = settled(
            slots=list(scope_of(held, wanted, by).slots(by).values_list("pk", flat=True)),
            make=lambda: make_menu_plan(
                by=by, menu_version=held, sites=wanted, when=when, now=now,
                learnt_until=learnt_until,
            ),
            seen=seen,
        )  # fmt: skip
        must_acknowledge(plan, acknowledged)
        publication = _write(plan, by, reason, credentials.reserved(PUBLICATION.basis))
        carry_out(plan, publication, Signer(by, credentials), recording)
        return publication


def for_plan(pk: int) -> MenuVersion | None:
    """A menu's version with all that a plan for it reads."""
    rows = MenuVersion.objects.with_menu().with_formulas()
    found: MenuVersion | None = rows.filter(pk=pk).first()
    return found


def _approved(menu_version: MenuVersion) -> MenuVersion:
    """The version, held like those on it until it is signed: nobody withdraws one meanwhile."""
    rows = MenuVersion.objects.filter(pk=menu_version.pk).order_by()
    list(rows.select_for_update(no_key=True).values_list("pk"))
    held = for_plan(menu_version.pk)
    if held is None:
        raise Refused("This menu's version is gone.")
    unapproved = unapproved_of(held)
    if unapproved:
        raise unapproved
    must_be_in_use(held)
    return held


def _keep_following(menu_version: MenuVersion, sites: Iterable[int]) -> None:
    """No site that follows the menu leaves it before this is signed; who left is refused."""
    follow = Following.objects.current().filter(menu=menu_version.menu_id, site__in=sites)
    list(follow.order_by("pk").select_for_update(no_key=True).values_list("pk"))


def _write(plan: MenuPlan, by: User, reason: str, number: int | None) -> Publication:
    return Publication.objects.create(
        pk=number,
        menu_version=plan.menu_version,
        author=by,
        reason=reason,
        scope=plan.scope.as_json(),
        scope_label=plan.scope_label,
        local_date=plan.when.local_date,
        local_time=plan.when.local_time,
        plan_digest=plan.digest,
        accepted=[each.as_json() for each in plan.accepted],
    )
