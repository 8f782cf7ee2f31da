"""However many look and tell at once, each person is told once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from people.notices.finding import find_matters
from people.notices.kinds import Found
from people.notices.models import Matter, Message, Notice
from people.notices.posting import claim
from people.notices.telling import tell
from tests.cast import make_cast, make_sites
from tests.people.conftest import Matters


def at_once(run: object) -> None:
    def one(_: int) -> None:
        try:
            run()  # type: ignore[operator]
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(one, range(6)))


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("mailing")
def test_six_at_once_tell_each_person_once(matters: Matters) -> None:
    cast = make_cast(make_sites())
    matters.is_now(*(Found(str(n), f"Thing {n}", "/", "", (cast.site.pk,)) for n in range(3)))

    def both() -> None:
        find_matters()
        tell()

    for _ in range(5):
        at_once(both)
    assert (Matter.objects.count(), Notice.objects.count(), Message.objects.count()) == (3, 9, 9)
    taken: list[int] = []
    at_once(lambda: taken.extend(message.pk for message in claim("mail", 2)))  # type: ignore[arg-type]
    assert len(taken) == len(set(taken)) == 9
