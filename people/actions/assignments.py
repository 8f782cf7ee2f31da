"""Giving and taking roles."""

from audit.context import recorded
from audit.errors import Invalid, NotFound
from people import history
from people.actions.owners import keeping_an_owner
from people.actions.persons import subject_of
from people.models import Assignment, User
from people.models.assignment import all_sites
from people.permissions import forget_roles, require, require_everywhere
from people.roles import Role
from people.verbs import Verb


def assign_role(
    *, by: User | None, person: User, role: str, site_id: int | None = None
) -> Assignment:
    """Give a role at one site, or at every site (None).

    `by` None is the console. Raises Invalid (role, site) and NotPermitted: an owner of one site
    gives roles at that site only.
    """
    with recorded(by=by, action=history.ROLE_ASSIGNED, subject=subject_of(person), site_id=site_id):
        if by:
            _require_at(by, site_id)
        if role not in Role.values:
            raise Invalid("role", role, "one of " + ", ".join(Role.values))
        _check_site(site_id)
        assignment, made = Assignment.objects.get_or_create(
            user=person,
            role=role,
            site_id=site_id,  # type: ignore[misc]  # None is asked for as NULL
        )
        if not made:
            raise Invalid("role", Role(role).label, "a role this person does not have there yet")
    forget_roles(person)
    return assignment


def remove_assignment(*, by: User, assignment: Assignment) -> None:
    """Take a role away. Raises NotPermitted, NotFound, and Refused for the last owner's."""
    person = assignment.user
    with recorded(
        by=by,
        action=history.ROLE_REMOVED,
        subject=subject_of(person),
        site_id=assignment.site_id,
    ):
        _require_at(by, assignment.site_id)
        with keeping_an_owner():
            if not Assignment.objects.filter(pk=assignment.pk).delete()[0]:
                raise NotFound("This role has been taken away already.")
    forget_roles(person)


def _require_at(by: User, site_id: int | None) -> None:
    if site_id is None:
        require_everywhere(by, Verb.PEOPLE_MANAGE)
    else:
        require(by, Verb.PEOPLE_MANAGE, site_id)


def _check_site(site_id: int | None) -> None:
    if site_id is not None and not all_sites().filter(pk=site_id).exists():
        raise Invalid("site", site_id, "one of the sites, or none for all of them")
