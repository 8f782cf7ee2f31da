"""One's own units: chosen, recorded, and kept by the database."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, Stale
from people.persons.models import User
from people.units.actions import choose_units
from tests.bar import Bar
from tests.cast import ApiAs, Cast, SignedIn
from tests.people.tablets.bench import at_work
from web.models import TypedFigure

URL = "/account/units/"
OURS = {"temperatures": "[degF]", "masses": "[oz_av]"}


def test_chosen_on_the_page_and_recorded(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    assert "93.0 °C (199.4 °F)" in browser.get(URL).content.decode()
    sent = browser.post(URL, {**OURS, "revision": cast.barista.revision})
    assert (sent.status_code, sent["Location"]) == (302, URL)
    kept = User.objects.get(pk=cast.barista.pk)
    assert (kept.temperatures, kept.masses) == ("[degF]", "[oz_av]")
    entry = Entry.objects.latest("id")
    assert (entry.action, entry.actor) == ("person.units_chosen", cast.barista.name)
    assert entry.changes == {"masses": ["g", "[oz_av]"], "temperatures": ["Cel", "[degF]"]}


def test_what_is_not_offered_is_refused_by_page_action_and_database(
    cast: Cast, signed_in: SignedIn
) -> None:
    browser, seen = signed_in(cast.barista), cast.barista.revision
    assert browser.post(URL, {**OURS, "masses": "st", "revision": seen}).status_code == 400
    assert browser.post(URL, {**OURS, "revision": seen + 1}).status_code == 412
    with pytest.raises(Invalid, match="temperatures"):
        choose_units(by=cast.barista, revision=seen, temperatures="K", masses="g")
    with pytest.raises(Stale):
        choose_units(by=cast.barista, revision=seen + 1, **OURS)
    with pytest.raises(IntegrityError), transaction.atomic():
        User.objects.filter(pk=cast.barista.pk).update(masses="st")


def test_chosen_through_the_api(cast: Cast, api_as: ApiAs) -> None:
    api, address = api_as(cast.barista), "/api/v1/me/units/"
    shown = api.get(address)
    assert shown.json() == {
        "temperatures": "Cel", "masses": "g", "revision": cast.barista.revision
    }  # fmt: skip
    tag = {"If-Match": shown["ETag"]}
    chosen = api.put(address, OURS, headers=tag)
    assert (chosen.status_code, chosen.json()["temperatures"]) == (200, "[degF]")
    assert Entry.objects.latest("id").action == "person.units_chosen"
    assert api.put(address, OURS, headers=tag).status_code == 412
    assert api.put(address, OURS).status_code == 428
    tag = {"If-Match": chosen["ETag"]}
    wrong = api.put(address, {**OURS, "masses": "st"}, headers=tag)
    assert wrong.status_code == 400
    assert "masses" in wrong.content.decode()
    assert User.objects.get(pk=cast.barista.pk).masses == "[oz_av]"


def test_figures_of_the_api_are_not_for_a_reader(cast: Cast, api_as: ApiAs, bar: Bar) -> None:
    """A program would read 200.3 for 93.5."""
    choose_units(by=cast.barista, revision=cast.barista.revision, **OURS)
    read = api_as(cast.barista).get(f"/api/v1/versions/{bar.version.pk}/").json()
    water = bar.version.formula.get(code="brew_temperature").target
    assert read["formula"]["brew_temperature"]["target"] == str(water)


def test_not_by_pin(cast: Cast) -> None:
    """It would change what a number typed elsewhere stands for."""
    tablet = at_work(cast)
    sent = {**OURS, "revision": User.objects.get(pk=cast.barista.pk).revision}
    assert tablet.post(URL, sent).status_code == 403
    assert User.objects.get(pk=cast.barista.pk).masses == "g"


def test_the_database_holds_figure_and_stored_value_together(cast: Cast) -> None:
    good = {"field": "x", "label": "x", "subject_type": "", "subject": ""}
    for value, unit, stored in (
        ("200", "[degF]", "93.3"), ("1", "[oz_av]", "28.35"), ("1", "[degF]{difference}", "-17"),
        ("1", "st", "6350"),
    ):  # fmt: skip
        with pytest.raises(IntegrityError), transaction.atomic():
            TypedFigure.objects.create(
                value=Decimal(value), unit=unit, stored=Decimal(stored), **good
            )
    kept = TypedFigure.objects.create(
        value=Decimal(200), unit="[degF]", stored=Decimal("93.333333"), **good
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        TypedFigure.objects.filter(pk=kept.pk).update(value=201)
