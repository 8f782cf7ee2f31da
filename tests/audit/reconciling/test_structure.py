"""Rules of the tables that somebody dropped, loosened or added are seen."""

import pytest
from django.test import Client

from audit.capture.installed import expected
from audit.quick import quick
from audit.reconciling.models import Structure
from audit.reconciling.structure import differences, note_structure, rules_off
from tests.audit.sample import run
from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db

WAYS = {
    "a check": (
        "ALTER TABLE recipes_version DROP CONSTRAINT version_state_is_known",
        "recipes_version: this rule is gone or another one: CHECK",
    ),
    "a check that is always true": (
        "ALTER TABLE recipes_version DROP CONSTRAINT version_state_is_known;"
        " ALTER TABLE recipes_version ADD CONSTRAINT version_state_is_known CHECK (true)",
        "recipes_version: this rule is none of ours: CHECK (true)",
    ),
    "one that holds for new rows alone": (
        "ALTER TABLE stations_placement DROP CONSTRAINT placement_state_is_known;"
        " ALTER TABLE stations_placement ADD CONSTRAINT placement_state_is_known"
        " CHECK (state IN ('scheduled', 'in_force', 'suspended', 'ended', 'cancelled')) NOT VALID",
        "NOT VALID",
    ),
    "a column that may be empty": (
        "ALTER TABLE recipes_formulavalue ALTER code DROP NOT NULL",
        "recipes_formulavalue: this rule is gone or another one: column code",
    ),
    "a longer text": (
        "ALTER TABLE recipes_formulavalue ALTER code TYPE varchar(99)",
        "recipes_formulavalue: this rule is none of ours: column code character varying(99)",
    ),
    "a key to another table": (
        "DO $$ BEGIN EXECUTE (SELECT"
        " format('ALTER TABLE stations_slot DROP CONSTRAINT %I', conname)"
        " FROM pg_constraint WHERE conrelid = 'stations_slot'::regclass AND contype = 'f' LIMIT 1);"
        " END $$",
        "stations_slot: this rule is gone or another one: FOREIGN KEY",
    ),
    "one placement in force": (
        "DROP INDEX placement_one_in_force",
        "stations_placement: this rule is gone or another one: UNIQUE INDEX",
    ),
}


def test_a_migrated_database_has_the_rules_of_its_models() -> None:
    assert differences() == []
    rules = Structure.objects.latest("pk").rules
    assert len(rules) > 800
    assert not note_structure()


def test_a_choice_made_from_a_dump_is_the_same_rule_and_one_value_less_is_not() -> None:
    """As a restored database has it: the cast stands at each value, not at the list."""
    each = "('running'::varchar)::text, ('done'::varchar)::text"
    name, table = "reconciliation_state_is_known", "audit_reconciliation"
    for values in (f"{each}, ('stopped'::varchar)::text", each):
        run(
            f"ALTER TABLE {table} DROP CONSTRAINT {name};"
            f" ALTER TABLE {table} ADD CONSTRAINT {name}"
            f" CHECK (state::text = ANY (ARRAY[{values}]))"
        )
        told = [sentence for sentence in differences() if sentence.startswith(table)]
        assert bool(told) is (values == each), told


@pytest.mark.parametrize("way", WAYS)
def test_what_is_done_to_a_rule_is_told(way: str) -> None:
    statement, words = WAYS[way]
    run(statement)
    assert any(words in told for told in differences()), differences()


def test_the_condition_of_a_trigger_is_compared() -> None:
    (name,) = [each for of, each in expected().triggers if each.startswith("pgtrigger_entry_stamp")]
    run(
        f"DROP TRIGGER {name} ON audit_entry; CREATE TRIGGER {name} BEFORE INSERT ON audit_entry"
        f" FOR EACH ROW WHEN (pg_trigger_depth() = 7) EXECUTE FUNCTION {name}()"
    )
    assert any("pg_trigger_depth() = 7" in told for told in differences())


def test_the_rules_kept_cannot_be_exchanged() -> None:
    run("SET session_replication_role = replica")
    run("UPDATE audit_structure SET rules = '[]'")
    run("SET session_replication_role = origin")
    assert differences() == [
        "audit_structure: the rules kept there are not those that the history knows."
    ]


def test_owners_are_told(cast: Cast, signed_in: SignedIn) -> None:
    assert list(rules_off()) == []
    run("ALTER TABLE recipes_version DROP CONSTRAINT version_state_is_known")
    quick.delete("reconciling:structure")
    browser: Client = signed_in(cast.owner)
    assert "recipes_version: this rule is gone" in browser.get("/").content.decode()
