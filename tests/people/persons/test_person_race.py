"""The same address entered twice at the same moment."""

from functools import partial

import pytest

from audit.errors import Invalid
from people.persons.actions import create_person
from people.persons.models import User
from tests.cast import Cast
from tests.races import at_once
from web.errors import as_domain_error


@pytest.mark.django_db(transaction=True)
def test_one_is_added_and_the_others_told(cast: Cast) -> None:
    for number in range(5):
        email = f"new{number}@example.com"
        told = at_once(
            [partial(create_person, by=cast.owner, email=email, name=f"New {number}")] * 4
        )
        assert User.objects.filter(email=email).count() == 1
        lost = [t for t in told if isinstance(t, Exception)]
        assert len(lost) == 3
        assert all(isinstance(t, Invalid) or as_domain_error(t) for t in lost)
