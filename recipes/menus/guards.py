"""What the database itself refuses to do to menus, their versions and the sites that follow them.

It works a version's digest out itself, the bytes of recipes.menus.digest by test, and compares.
"""

import pgtrigger

from audit.capture.triggers import FirmTrigger, refusal
from recipes.versions.digest_sql import text_sql
from recipes.versions.guards import (
    TRANSITION,
    content_kept,
    document_guards,
    draft_only,
    own_work,
    refuse,
    unsealed,
    unsigned,
)

DRINKS = "recipes_menudrink d JOIN recipes_version v ON v.id = d.version_id"
_LINE = (
    f'{text_sql("d.slot_number")} || \':{{"content":"\' || v.content_digest'
    " || '\",\"version\":' || v.id || '}'"
)
_SLOTS = (
    f"coalesce((SELECT string_agg({_LINE}, ',' ORDER BY d.slot_number::text COLLATE \"C\")"
    f" FROM {DRINKS} WHERE d.menu_version_id = NEW.id), '')"
)
CANONICAL = (
    f"'{{\"menu\":' || NEW.menu_id || ',\"name\":' || {text_sql('m.name')}"
    f" || ',\"note\":' || {text_sql('NEW.note')} || ',\"number\":' || NEW.number"
    f" || ',\"slots\":{{' || {_SLOTS} || '}}}}'"
)
DIGEST = (
    f"(SELECT encode(sha256(convert_to({CANONICAL}, 'UTF8')), 'hex')"
    " FROM recipes_menu m WHERE m.id = NEW.menu_id)"
)
"""SQL over NEW, a row of recipes_menuversion: 64 hexadecimal digits."""

IDENTITY = refuse(
    """(NEW.menu_id, NEW.number, NEW.author_id, NEW.created_at)
        IS DISTINCT FROM (OLD.menu_id, OLD.number, OLD.author_id, OLD.created_at)""",
    "A version keeps its menu, number and author.",
)

# The share lock makes a withdrawal of a recipe's version and an approval that names it wait for
# each other; after the wait the states are read again.
HOLD = f"""
    IF NEW.state <> OLD.state AND NEW.state IN ('in_review', 'approved') THEN
        PERFORM 1 FROM {DRINKS} WHERE d.menu_version_id = NEW.id ORDER BY v.id FOR SHARE OF v;
    END IF;
"""
OUT_OF_USE = refuse(
    f"""NEW.state <> OLD.state AND NEW.state IN ('in_review', 'approved') AND (
        NOT EXISTS (SELECT 1 FROM recipes_menudrink d WHERE d.menu_version_id = NEW.id)
        OR EXISTS (SELECT 1 FROM {DRINKS}
            WHERE d.menu_version_id = NEW.id AND v.state <> 'approved'))""",
    "A menu holds approved versions alone, and at least one.",
)


def menu_version_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep the life of a menu's version in order."""
    sealed = content_kept() + unsealed(DIGEST) + unsigned("menu_version") + own_work()
    return document_guards(IDENTITY + TRANSITION + OUT_OF_USE + sealed, before=HOLD)


def drink_guards() -> list[pgtrigger.Trigger]:
    """Triggers that let an arrangement change only while its version is a draft."""
    return draft_only("recipes_menuversion", "menu_version_id", "The arrangement")


# The name is a part of what is signed.
MENU_KEPT = FirmTrigger(
    name="a_guard_kept",
    operation=pgtrigger.Update | pgtrigger.Delete,
    when=pgtrigger.Before,
    func=refusal("A menu in % stays, under its name: enter another one."),
)

# Who follows which menu since when is never written again: only its end is added, once.
FOLLOWED = FirmTrigger(
    name="a_guard_followed",
    operation=pgtrigger.Update | pgtrigger.Delete,
    when=pgtrigger.Before,
    func=f"""
    IF TG_OP = 'DELETE' OR OLD.until IS NOT NULL OR NEW.until IS NULL
        OR (to_jsonb(NEW) - 'until' - 'ended_by_id')
            IS DISTINCT FROM (to_jsonb(OLD) - 'until' - 'ended_by_id')
    THEN {refusal("Whom a site follows in % is only ended, once.")} END IF;
    NEW.until := clock_timestamp();
    RETURN NEW;
    """,
)
SINCE = FirmTrigger(
    name="stamp_followed",
    operation=pgtrigger.Insert,
    when=pgtrigger.Before,
    func=f"""
    IF NEW.until IS NOT NULL THEN {refusal("Whom a site follows in % begins without an end.")}
    END IF;
    NEW.since := clock_timestamp();
    RETURN NEW;
    """,
)
