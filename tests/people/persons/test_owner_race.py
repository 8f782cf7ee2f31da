"""Two owners who each take the other's role away at the same moment."""

from functools import partial

import pytest

from audit.errors import Refused
from people.persons.actions import assign_role, create_person, remove_assignment
from people.persons.models import Assignment
from people.persons.verbs import Role
from tests.cast import Cast
from tests.races import at_once
from tests.services import rounds


@pytest.mark.django_db(transaction=True)
def test_one_owner_always_stays(cast: Cast) -> None:
    second = create_person(by=cast.owner, email="second@example.com", name="Second owner")
    for _ in range(rounds(200, 5)):
        for person in (cast.owner, second):
            if not Assignment.objects.filter(user=person, role=Role.OWNER).exists():
                assign_role(by=None, person=person, role=Role.OWNER)
        one, two = Assignment.objects.filter(role=Role.OWNER)
        told = at_once(
            [
                partial(remove_assignment, by=two.user, assignment=one),
                partial(remove_assignment, by=one.user, assignment=two),
            ]
        )
        assert Assignment.objects.filter(role=Role.OWNER).count() == 1
        [lost] = [t for t in told if t is not None]
        # NotPermitted where the first was through before the second was asked for its own role.
        assert isinstance(lost, Refused)
