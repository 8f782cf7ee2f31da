"""Two people's names never read alike, in whatever case or script, whoever writes them."""

import json

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import F
from django.urls import reverse

from audit.alarms import alarms
from audit.errors import Invalid
from people.persons.actions import change_person, create_person
from people.persons.likeness import CONFUSABLES, FILL
from people.persons.models import User, name_key
from tests.calling import act
from tests.cast import Cast, InPerson, SignedIn
from tests.references.confusables import prototypes

# "Head roaster" and others that read so.
ALIKE = [
    "Head roaster",
    "HEAD  ROASTER",
    "\uff28\uff45\uff41\uff44 roaster",  # wide
    "H\u0435\u0430d roaster",  # Cyrillic
    "\u0397ead roaster",  # Greek
    "\U0001d407\U0001d41e\U0001d41a\U0001d41d roaster",  # mathematical
    "Head\u00a0roaster",  # a blank that doesn't break
    "H\u0415\u0410D R\u041e\u0410S\u0422\u0415R",  # Cyrillic capitals
    "Head r0aster",
]


@pytest.mark.parametrize("name", ALIKE)
def test_a_name_that_reads_like_another_is_refused(cast: Cast, name: str) -> None:
    with pytest.raises(Invalid, match="“Head roaster” is there already"):
        create_person(by=cast.owner, email="new@example.com", name=name)


@pytest.mark.parametrize("name", ["Iead roaster", "1ead roaster", "|ead roaster"])
def test_letters_that_look_alike_in_one_case_only(cast: Cast, name: str) -> None:
    """A capital I is a small l to the eye, though folding case parts them."""
    create_person(by=cast.owner, email="lead@example.com", name="lead roaster")
    with pytest.raises(Invalid, match="lead roaster"):
        create_person(by=cast.owner, email="new@example.com", name=name)


@pytest.mark.parametrize("name", ["Head roaster 2", "Heed roaster", "Höad roaster", "Iina", "Lina"])
def test_other_names_are_taken(cast: Cast, name: str) -> None:
    create_person(by=cast.owner, email="new@example.com", name=name)


def test_one_keeps_ones_own_name_in_another_spelling(cast: Cast) -> None:
    who = cast.head_roaster
    change_person(
        by=cast.owner, person=who, revision=who.revision, email=who.email, name="HEAD ROASTER"
    )


def test_page_and_api_say_which_name_it_is(
    cast: Cast, signed_in: SignedIn, api_in_person: InPerson
) -> None:
    body = {"name": "Head r0aster", "email": "new@example.com"}
    page = signed_in(cast.owner).post(reverse("people:add"), body)
    assert page.status_code == 400
    assert "“Head roaster” is there already" in page.content.decode()
    answer = act(api_in_person(cast.owner), "people/", body)
    assert answer.status_code == 400
    assert answer.json()["problems"][0]["field"] == "name"


def test_the_database_refuses_it_by_any_way(cast: Cast) -> None:
    alike = ALIKE[3]
    barista = User.objects.filter(pk=cast.barista.pk)

    statements = (
        "UPDATE people_user SET name = %s WHERE id = %s",
        "UPDATE people_user SET name = %s, name_folded = 'x', name_seen = 'x' WHERE id = %s",
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        barista.update(name=alike)
    with pytest.raises(IntegrityError), transaction.atomic():
        User.objects.bulk_create([User(email="x@example.com", name=alike)])
    for statement in statements:
        with (
            pytest.raises(IntegrityError),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement, [alike, cast.barista.pk])


def test_nobody_sets_what_a_name_reads_as(cast: Cast) -> None:
    User.objects.filter(pk=cast.barista.pk).update(name_folded="x", name_seen=None)
    kept = User.objects.get(pk=cast.barista.pk)
    assert (kept.name_folded, kept.name_seen) == ("barista", "barista")


def test_names_of_before_stay_and_count(cast: Cast) -> None:
    """The migration keeps two that read alike; nobody else gets such a name."""
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE people_user DISABLE TRIGGER USER")
        cursor.execute(
            "UPDATE people_user SET name_folded = NULL, name_seen = NULL, name ="
            " CASE WHEN id = %s THEN 'Head r0aster' ELSE name END", [cast.barista.pk],
        )  # fmt: skip
        cursor.execute(FILL)
        cursor.execute("ALTER TABLE people_user ENABLE TRIGGER USER")
    unkeyed = User.objects.filter(name_folded=None)
    assert [each.name for each in unkeyed] == ["Head r0aster"]
    assert "“Head r0aster” can be read as" in [each.words for each in alarms()][-1]
    with pytest.raises(Invalid, match="is there already"):
        create_person(by=cast.owner, email="new@example.com", name="HEAD ROASTER")
    User.objects.filter(pk=cast.head_roaster.pk).update(name="Somebody else")
    with pytest.raises(IntegrityError, match="reads like this one"), transaction.atomic():
        User.objects.filter(pk=cast.shop_lead.pk).update(name="Head roaster")
    unkeyed.update(name="Barista again")
    assert not User.objects.filter(name_folded=None).exists()


def test_keys_are_what_the_database_says_of_the_names(cast: Cast) -> None:
    folded = name_key(F("name"), folded_first=True)
    seen = name_key(F("name"), folded_first=False)
    for person in User.objects.annotate(folded=folded, seen=seen):
        assert (person.name_folded, person.name_seen) == (person.folded, person.seen)


def test_the_table_is_unicodes() -> None:
    """As the library that carries confusables.txt has it."""
    assert json.loads(CONFUSABLES.read_text()) == prototypes()
