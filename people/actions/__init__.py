"""Everything that changes people, roles, policy and tokens: one function each."""

from people.actions.assignments import assign_role, remove_assignment
from people.actions.persons import (
    change_person,
    create_person,
    deactivate_person,
    reactivate_person,
)
from people.actions.policies import set_policy
from people.actions.tokens import make_token, revoke_token

__all__ = [
    "assign_role",
    "change_person",
    "create_person",
    "deactivate_person",
    "make_token",
    "reactivate_person",
    "remove_assignment",
    "revoke_token",
    "set_policy",
]
