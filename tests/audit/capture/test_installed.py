"""Triggers that were switched off, and functions that were replaced, are seen."""

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connection
from django.test import Client

from audit.capture.installed import differences, expected
from audit.privileges import database_guards_itself
from audit.tasks import look_at_guards
from tests.cast import Cast, SignedIn
from web.tasks import sign_of_life

pytestmark = pytest.mark.django_db


def as_owner(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.fixture(autouse=True)
def _only_ours() -> None:
    """Without the tables other tests make in the same database; they are back afterwards."""
    as_owner("DROP TABLE IF EXISTS sample_jar, sample_note, sample_shelf CASCADE")


def test_a_migrated_database_is_as_the_migrations_made_it() -> None:
    assert differences() == []
    assert len(expected().triggers) > 150
    ours = {"audit_context", "audit_refuse", "recipes_placement_under", "recipes_placement_waits"}
    assert ours <= set(expected().functions)


def pgid(table: str, name: str) -> str:
    """The one trigger of a table whose plain name this is."""
    (found,) = [
        each
        for of, each in expected().triggers
        if of == table and each.startswith(f"pgtrigger_{name}_")
    ]
    return found


VERSION = "recipes_version"
PART = (
    "(SELECT relname FROM pg_inherits JOIN pg_class ON oid = inhrelid"
    " WHERE inhparent = 'audit_entry'::regclass LIMIT 1)"
)
BODY = "$$ BEGIN RETURN NEW; END $$ LANGUAGE plpgsql"
KEY_MOVED = (
    "CREATE OR REPLACE FUNCTION audit_key_moved(table_name text) RETURNS bigint"
    " AS 'SELECT 1::bigint' LANGUAGE sql"
)
ON_PART = "DO $$ BEGIN EXECUTE format('ALTER TABLE %I {} TRIGGER {}', " + PART + "); END $$"


def names() -> tuple[str, str, str]:
    """Three triggers: one that records, one that refuses, one of the history itself."""
    return (
        pgid(VERSION, "history_changed"),
        pgid("stations_controlsettings", "control_settings_kept"),
        pgid("audit_entry", "entry_stamped"),
    )


Way = tuple[list[str], str]  # what an owner may do, and the words that must tell of it


def switched_off() -> dict[str, Way]:
    changed, kept, stamped = names()
    return {
        "one off": ([f"ALTER TABLE {VERSION} DISABLE TRIGGER {changed}"], changed),
        "all off": (["ALTER TABLE stations_controlsettings DISABLE TRIGGER ALL"], kept),
        "for replicas alone": (
            [f"ALTER TABLE {VERSION} ENABLE REPLICA TRIGGER {changed}"], changed,
        ),
        "gone": ([f"DROP TRIGGER {changed} ON {VERSION}"], f"{changed} is gone"),
        "a rule": (
            [f"CREATE RULE r AS ON DELETE TO {VERSION} DO INSTEAD NOTHING"], "rewrite rules",
        ),
        "all of them, by a setting": (
            ["SET LOCAL session_replication_role = replica"], "session_replication_role",
        ),
        "on a part of the history": ([ON_PART.format("DISABLE", stamped)], stamped),
        "emptying a part": (
            [ON_PART.format("DISABLE", "entry_whole")], "trigger entry_whole is switched off",
        ),
    }  # fmt: skip


def replaced() -> dict[str, Way]:
    changed, kept, _ = names()
    nothing = f"CREATE FUNCTION nothing() RETURNS trigger AS {BODY}"
    return {
        "function replaced": (
            [f"CREATE OR REPLACE FUNCTION {kept}() RETURNS trigger AS {BODY}"],
            f"stations_controlsettings's trigger {kept}",
        ),
        "function without its owner's rights": (
            [f"ALTER FUNCTION {changed}() SECURITY INVOKER"], changed,
        ),
        "another helper": ([KEY_MOVED], "Function audit_key_moved"),
        "another function behind it": (
            [
                nothing,
                f"DROP TRIGGER {changed} ON {VERSION}",
                f"CREATE TRIGGER {changed} AFTER UPDATE ON {VERSION} EXECUTE FUNCTION nothing()",
            ],
            f"{changed} is another one",
        ),
        "never true": (
            [
                f"DROP TRIGGER {kept} ON stations_controlsettings",
                f"CREATE TRIGGER {kept} BEFORE UPDATE OR DELETE ON stations_controlsettings"
                f" FOR EACH ROW WHEN (false) EXECUTE FUNCTION {kept}()",
            ],
            f"{kept} is another one",
        ),
        "one of their own": (
            [
                nothing,
                f"CREATE TRIGGER a BEFORE UPDATE ON {VERSION} FOR EACH ROW"
                " EXECUTE FUNCTION nothing()",
            ],
            f"{VERSION}: trigger a is none of ours",
        ),
    }  # fmt: skip


WAYS = (
    "one off", "all off", "for replicas alone", "gone", "function replaced",
    "function without its owner's rights", "another helper", "another function behind it",
    "never true", "one of their own", "a rule", "all of them, by a setting",
    "on a part of the history", "emptying a part",
)  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_what_an_owner_does_to_the_guards_is_told(way: str) -> None:
    statements, words = (switched_off() | replaced())[way]
    for statement in statements:
        as_owner(statement)
    told = differences()
    assert any(words in line for line in told), told
    (error, *_) = database_guards_itself(databases=["default"])
    assert error.id == "audit.E005"


def test_every_way_is_tried() -> None:
    assert set(WAYS) == set(switched_off() | replaced())


def test_the_deploy_check_fails() -> None:
    as_owner(f"ALTER TABLE {VERSION} DISABLE TRIGGER {pgid(VERSION, 'history_changed')}")
    with pytest.raises(SystemCheckError, match="switched off"):
        call_command("check", deploy=True, databases=["default"])


def test_owners_read_it_at_home_and_others_do_not(cast: Cast, signed_in: SignedIn) -> None:
    name = pgid(VERSION, "history_changed")
    assert name not in signed_in(cast.owner).get("/").content.decode()
    as_owner(f"ALTER TABLE {VERSION} DISABLE TRIGGER {name}")
    assert name in signed_in(cast.owner).get("/").content.decode()
    assert name not in signed_in(cast.shop_lead).get("/").content.decode()


def test_health_says_that_there_is_something_and_to_owners_what(
    cast: Cast, signed_in: SignedIn
) -> None:
    name = pgid(VERSION, "history_changed")
    as_owner(f"ALTER TABLE {VERSION} DISABLE TRIGGER {name}")
    look_at_guards()
    sign_of_life()
    anybody = Client().get("/healthz")
    assert anybody.status_code == 200, "no balancer takes the product away for it"
    assert name not in anybody.content.decode()
    assert f"{VERSION}: trigger {name} is switched off." in (
        signed_in(cast.owner).get("/healthz").content.decode()
    )


def test_the_task_writes_it_to_the_log(caplog: pytest.LogCaptureFixture) -> None:
    assert look_at_guards() == 0
    assert not caplog.records
    as_owner(f"ALTER TABLE {VERSION} DISABLE TRIGGER {pgid(VERSION, 'history_changed')}")
    assert look_at_guards() == 1
    assert "switched off" in caplog.text
