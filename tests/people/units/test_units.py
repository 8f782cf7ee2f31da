"""One's own units: chosen, recorded, and kept by the database."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, Stale
from people.persons.models import User
from people.units.actions import choose_units
from tests.cast import Cast, SignedIn
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
