"""Direction overrides and unseen characters: refused wherever text comes in, shown if stored."""

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from people.persons.models import User
from stations.equipment.models import Site
from stations.importing.file import EXAMPLE, decode
from stations.importing.plan import plan_import
from tests.calling import act
from tests.cast import Cast, InPerson, SignedIn

OVERRIDE = "Second\u202eroaster"
TOLD = "U+202E (right-to-left override) is character 7"


def test_a_page_names_field_and_character_and_loses_nothing(
    cast: Cast, signed_in: SignedIn
) -> None:
    """The page that says no repeats all that was typed, the character made visible."""
    typed = {"name": OVERRIDE, "email": "second@example.com"}
    answer = signed_in(cast.owner).post(reverse("people:add"), typed)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "name: “Second⟨U+202E⟩roaster” can" in page
    assert TOLD in page
    assert "second@example.com" in page
    assert "\u202e" not in page


@pytest.mark.parametrize("sign", ["\u202e", "\u200b", "\u00ad", "\u3164", "\ufeff"])
def test_notes_of_several_lines_are_no_exception(
    cast: Cast, signed_in: SignedIn, sign: str
) -> None:
    body = {"name": "Odd", "rest_from": "1", "rest_to": "2", "note": f"first\nsec{sign}ond"}
    answer = signed_in(cast.head_roaster).post(reverse("recipes:coffee_add"), body)
    assert answer.status_code == 400
    assert f"U+{ord(sign):04X}" in answer.content.decode()
    assert "is character 4 of line 2" in answer.content.decode()


def test_the_api_names_the_place_in_the_body(cast: Cast, api_in_person: InPerson) -> None:
    body = {"email": "second@example.com", "name": OVERRIDE}
    answer = act(api_in_person(cast.owner), "people/", body)
    assert answer.status_code == 400
    [problem] = answer.json()["problems"]
    assert (problem["field"], problem["value"]) == ("name", "Second⟨U+202E⟩roaster")
    assert TOLD in problem["allowed"]


def test_a_csv_cell_is_named_by_line_and_column(cast: Cast, signed_in: SignedIn) -> None:
    text = decode(EXAMPLE.replace("Harbour,", "Har\u202ebour,").encode())
    [fault] = plan_import(text, cast.owner).faults[:1]
    assert (fault.line, fault.field) == (2, "site_name")
    assert "U+202E (right-to-left override) is character 4" in fault.allowed
    assert fault.shown == "Har⟨U+202E⟩bour"


def test_what_was_stored_before_is_shown_for_what_it_is(cast: Cast, signed_in: SignedIn) -> None:
    """By SQL, as it may stand in databases of before: pages and their history show the mark."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE stations_site SET name = %s WHERE id = %s", [OVERRIDE, cast.site.pk])
    owner = signed_in(cast.owner)
    for url in (reverse("audit:history"), Site.objects.get(pk=cast.site.pk).get_absolute_url()):
        page = owner.get(url).content.decode()
        assert "Second⟨U+202E⟩roaster" in page
        assert "\u202e" not in page


def test_no_person_bears_such_a_name_by_any_way(cast: Cast) -> None:
    with pytest.raises(IntegrityError, match="not seen"), transaction.atomic():
        User.objects.filter(pk=cast.barista.pk).update(name=OVERRIDE)
    with pytest.raises(IntegrityError, match="not seen"), transaction.atomic():
        User.objects.bulk_create([User(email="x@example.com", name=OVERRIDE)])
