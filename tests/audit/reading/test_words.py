"""Entries in words: labels of the model, coded values, quantities, times, and what is long gone."""

from datetime import UTC, datetime

import pytest

from audit import vocabulary as actions
from audit.capture.models import Entry
from audit.errors import UNSHOWN, Invalid, Problem
from audit.reading.changes import Change, Wording, changes_of, fitted
from audit.reading.labels import register_label
from audit.reading.named import Thing, names_in
from audit.reading.rows import rows_of
from audit.registry import subject_word
from tests.cast import Cast


def shown(table: str, unit: str = "", **changes: list[object]) -> list[Change]:
    return changes_of(Entry(table_name=table, unit=unit, changes=changes))


def test_labels_order_and_coded_values_are_the_models() -> None:
    found = shown("people_user", password_set_at=[None, "2026-08-01T12:00:00+00:00"],
                  is_active=[True, False], name=["A", "B"])  # fmt: skip
    assert found == [
        Change("Printed name", "A", "B"),
        Change("May sign in", "yes", "no"),
        Change("Password set at", None, datetime(2026, 8, 1, 12, tzinfo=UTC)),
    ]
    assert [c.is_time for c in found] == [False, False, True]
    (state,) = shown("stations_placement", state=["scheduled", "in_force"])
    assert state == Change("State", "scheduled", "in force")


def test_a_foreign_key_by_number_and_by_name(db: None, cast: Cast) -> None:
    entry = Entry(
        table_name="people_assignment", unit="", changes={"site_id": [None, cast.site.pk]}
    )
    assert changes_of(entry) == [Change("Site", None, f"#{cast.site.pk}")]
    (named,) = changes_of(entry, Wording(names_in([entry])))
    assert named.new == Thing("Harbour", f"/sites/{cast.site.pk}/")
    entry.changes = {"site_id": [cast.site.pk, 987654]}
    assert changes_of(entry, Wording(names_in([entry])))[0].new == "#987654"


def test_structured_values_are_taken_apart() -> None:
    old = {"water_volume": {"value": "280", "unit": "{pulse}"}, "ends_by": {"value": "volume"}}
    new = {"water_volume": {"value": "285", "unit": "{pulse}"}, "ends_by": {"value": "volume"}}
    assert shown("stations_controlsettings", values=[old, new]) == [
        Change("Settings: water volume", "280", "285", "{pulse}")
    ]
    (created,) = shown("gone", values=[None, {"dose": {"value": "18.0", "unit": "g"}}])
    assert created == Change("Values: dose", None, "18.0", "g")
    (listed,) = shown("gone", ends=[["operator"], ["operator", "volume"]])
    assert listed == Change("Ends", "operator", "operator, volume")


def test_a_table_or_column_long_gone_is_still_readable() -> None:
    assert shown("old_table", brew_head=["a", "b"]) == [Change("Brew head", "a", "b")]
    assert actions.words("old.action") == "old.action"
    assert subject_word("old_thing") == "Old thing"


def test_the_unit_stands_behind_numbers_only() -> None:
    found = shown("gone", unit="Cel", note=["a", None], target=["92.0", "-0.5"])
    assert [(c.label, c.unit) for c in found] == [("Note", ""), ("Target", "Cel")]


def test_a_registered_label_goes_first() -> None:
    register_label("gone", "alt", "Altitude", "m", {"x": "unknown"})
    assert shown("gone", alt=["12", "x"]) == [Change("Altitude", "12", "unknown", "m")]


def test_the_same_code_can_not_mean_two_things() -> None:
    assert actions.register("shelf.sorted", "Sorted shelf") == "shelf.sorted"
    with pytest.raises(ValueError, match="already means"):
        actions.register("shelf.sorted", "Something else")


def test_a_message_repeats_a_value_safely() -> None:
    """The history is injection-safe: no line breaks or control characters out of a value."""
    error = Invalid("dose_mass", "1\n2\x1b[31m" + "x" * 200, "a number of g")
    assert "\n" not in error.message
    assert "\x1b" not in error.message
    assert len(error.message) < 160
    both = Invalid.of([Problem("a", None, "text"), Problem("b", "x", "a number")])
    assert (
        both.message
        == "a: nothing was given. Allowed: text. b: “x” can't be used. Allowed: a number."
    )


def test_a_secret_is_not_repeated_nor_a_full_stop_doubled() -> None:
    """Beside its field the sentence needs no name, and never the password."""
    wrong = Problem("password", UNSHOWN, "the password you sign in with.")
    assert wrong.sentence == "what was typed can't be used. Allowed: the password you sign in with."


@pytest.mark.django_db
def test_a_word_too_long_for_a_column_is_shortened_in_lists_alone() -> None:
    key = "portaledger/d49f9edfdd17a243+84e7c57e+AcRyOL/DkC+/uh2WbZwYyiEHHPrQ6g8fZS6yg/oO6PAQ"
    entry = Entry(
        table_name="audit_ledgerkey", subject_type="ledger_key", subject=key, operation="created",
        changes={"public": [None, key]}, request_id="",
    )  # fmt: skip
    [row] = rows_of([entry])
    assert row.subject == row.changes[0].new == f"{key[:24]}…"
    [whole] = changes_of(entry, Wording(whole=True))
    assert whole.new == key
    assert fitted("A sentence of many words stays as it is.").endswith("as it is.")
