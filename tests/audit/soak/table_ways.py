"""Tampering with governed tables, signatures, credentials, records of archives, and triggers."""

from audit.capture.installed import expected
from tests.audit.soak.hands import Hands
from tests.audit.soak.ways import way

# A value that stands, and one that could stand there.
VALUES = (
    ("recipes_formulavalue", "target", "target + 0.1", "target IS NOT NULL"),
    ("recipes_formulavalue", "above", "above + 0.1", "above IS NOT NULL"),
    ("recipes_version", "state", "CASE state WHEN 'approved' THEN 'draft' ELSE 'approved' END", ""),
    ("recipes_version", "digest", "encode(sha256(digest::bytea), 'hex')", "digest <> ''"),
    ("recipes_publication", "reason", "reason || '.'", ""),
    ("stations_controlsettings", '"values"', """"values" || '{"forged": {"value": "9"}}'""", ""),
    ("stations_controlsettings", '"values"',
     """jsonb_set("values", '{brew_temperature,value}', '"97.9"')""", ""),
    ("stations_placement", "verdict", "CASE verdict WHEN 'matches' THEN 'differs' ELSE 'matches'"
     " END", ""),
    ("stations_slot", "number", "number + 40", ""),
    ("stations_site", "name", "name || '.'", ""),
    ("stations_machine", "name", "name || '.'", ""),
    ("people_user", "name", "name || '.'", ""),
    ("people_user", "is_active", "NOT is_active", ""),
    ("people_assignment", "role", "CASE role WHEN 'owner' THEN 'barista' ELSE 'owner' END", ""),
)  # fmt: skip


@way("a governed value altered")
def alter(hands: Hands) -> None:
    table, column, new, where = hands.chance.choice(VALUES)
    pk = hands.one(f"SELECT id FROM {table} WHERE {where or 'true'} ORDER BY id")
    hands.do(table, f"UPDATE {table} SET {column} = {new} WHERE id = %s", int(str(pk)))


@way("a governed row removed")
def remove(hands: Hands) -> None:
    table = hands.chance.choice(["recipes_formulavalue", "stations_placement", "people_assignment",
                                 "stations_slot", "recipes_version"])  # fmt: skip
    pk = hands.one(f"SELECT id FROM {table} ORDER BY id")
    hands.do(table, f"DELETE FROM {table} WHERE id = %s", int(str(pk)))


@way("a governed row put in")
def put_in(hands: Hands) -> None:
    pk = int(str(hands.one("SELECT id FROM recipes_formulavalue ORDER BY id")))
    hands.do("recipes_formulavalue", "INSERT INTO recipes_formulavalue (version_id, code, target,"
             " text) SELECT version_id, 'rise_time', 4, '' FROM recipes_formulavalue"
             " WHERE id = %s", pk)  # fmt: skip


SIGNATURE = "SELECT id FROM people_signature ORDER BY id"


@way("a signature altered")
def alter_signature(hands: Hands) -> None:
    name, new = hands.chance.choice([
        ("name", "name || '.'"), ("digest", "encode(sha256(digest::bytea), 'hex')"),
        ("at", "at - interval '1 day'"), ("subject_id", "subject_id + 1"), ("note", "note || '.'"),
        ("user_id", "(SELECT min(id) FROM people_user u WHERE u.id <> user_id)"),
    ])  # fmt: skip
    hands.do("people_signature", f"UPDATE people_signature SET {name} = {new} WHERE id = %s",
             int(str(hands.one(SIGNATURE))))  # fmt: skip


@way("a signature removed")
def remove_signature(hands: Hands) -> None:
    hands.do("people_signature", "DELETE FROM people_signature WHERE id = %s",
             int(str(hands.one(SIGNATURE))))  # fmt: skip


@way("what was signed altered")
def alter_content(hands: Hands) -> None:
    pk = int(str(hands.one("SELECT signature_id FROM people_signedcontent ORDER BY 1")))
    hands.do("people_signedcontent", "UPDATE people_signedcontent SET canonical = canonical || ' '"
             " WHERE signature_id = %s", pk)  # fmt: skip


@way("a credential changed")
def change_credential(hands: Hands) -> None:
    pk = int(str(hands.one("SELECT id FROM people_user ORDER BY id")))
    hands.do("people_user", "UPDATE people_user SET password = 'x' || password WHERE id = %s", pk)


CLAIM = """SELECT set_config('audit.context', '{"actor": "Head roaster", "role": "owner",
    "road": "page", "request_id": "", "action": "person.changed", "reason": ""}', true)"""


@way("a change made in another person's name")
def claim(hands: Hands) -> None:
    """By the front door: recorded, and under the wrong name."""
    pk = int(str(hands.one("SELECT id FROM people_user ORDER BY id")))
    hands.say(CLAIM)
    hands.say(f"UPDATE people_user SET name = name || '.' WHERE id = {pk}")
    hands.say("SELECT set_config('audit.context', '', true)")


@way("a signing key's row altered")
def alter_key(hands: Hands) -> None:
    new = hands.chance.choice(["made_at = made_at - interval '1 day'", "replaces = 'another'"])
    hands.do("audit_ledgerkey", f"UPDATE audit_ledgerkey SET {new}")


@way("an archive's record altered")
def alter_record(hands: Hands) -> None:
    new = hands.chance.choice([
        "file = file || '.'", "sha256 = repeat('a', 64)", "size = size + 1",
        "entries = entries + 1", "first_month = '2020-12'", "checkpoint = 10000",
        "began_at = began_at - interval '1 day'", "leaves = repeat('b', 64)",
        "made_at = made_at - interval '1 day'",
    ])  # fmt: skip
    hands.do("audit_archive", f"UPDATE audit_archive SET {new}")


@way("an archive's record removed")
def remove_record(hands: Hands) -> None:
    hands.do("audit_archive", "DELETE FROM audit_archive")


def _trigger(hands: Hands) -> tuple[str, str]:
    return hands.chance.choice(sorted(expected().triggers))


@way("a trigger switched off")
def switch_off(hands: Hands) -> None:
    table, name = _trigger(hands)
    hands.say(f"ALTER TABLE {table} DISABLE TRIGGER {name}")


@way("a trigger removed")
def drop_trigger(hands: Hands) -> None:
    table, name = _trigger(hands)
    hands.say(f"DROP TRIGGER {name} ON {table}")


@way("a trigger put in")
def add_trigger(hands: Hands) -> None:
    table, _ = _trigger(hands)
    hands.say(f"CREATE TRIGGER forged BEFORE UPDATE ON {table} FOR EACH STATEMENT"
              " EXECUTE FUNCTION suppress_redundant_updates_trigger()")  # fmt: skip


@way("a trigger's function replaced")
def replace_function(hands: Hands) -> None:
    _, name = _trigger(hands)
    hands.say(f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS"
              " $$ BEGIN RETURN NEW; END $$")  # fmt: skip


@way("a trigger's condition replaced")
def replace_condition(hands: Hands) -> None:
    hands.say(
        "DO $$ DECLARE t text := (SELECT tgname FROM pg_trigger"
        " WHERE tgrelid = 'audit_entry'::regclass AND tgname LIKE '%entry_stamped%'); BEGIN"
        " EXECUTE format('DROP TRIGGER %I ON audit_entry', t);"
        " EXECUTE format('CREATE TRIGGER %I BEFORE INSERT ON audit_entry FOR EACH ROW"
        " WHEN (NEW.actor = ''nobody'') EXECUTE FUNCTION %I()', t, t); END $$"
    )
