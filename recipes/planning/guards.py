"""What the database itself refuses to do to anything that was signed as a plan."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.versions.guards import refuse

SIGN_AGAIN = "What is signed stays as it was signed: plan and sign another one."


def changed(columns: str) -> str:
    """SQL that holds when any of the columns differs."""
    return " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in columns.split())


def signed(columns: str, what: str) -> str:
    """SQL that refuses a change of these columns once there is a signature."""
    return refuse(
        f"OLD.signature_id IS NOT NULL AND ({changed(columns)})",
        f"A signed {what} never changes.",
        SIGN_AGAIN,
    )


def moves(allowed: str, what: str) -> str:
    """SQL that refuses any change of state but these pairs of old and new."""
    return refuse(
        f"NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN ({allowed})",
        f"A {what} cannot go from its state to that one.",
        SIGN_AGAIN,
    )


def guards(update: str, what: str) -> list[pgtrigger.Trigger]:
    """The triggers: what an update is refused for, and that nothing is ever removed."""
    removal = refuse("TRUE", f"A {what} is never removed.", SIGN_AGAIN)
    return [
        FirmTrigger(
            name="a_guard_update",
            operation=pgtrigger.Update,
            when=pgtrigger.Before,
            func=update + "RETURN NEW;",
        ),
        FirmTrigger(
            name="a_guard_delete",
            operation=pgtrigger.Delete,
            when=pgtrigger.Before,
            func=removal + "RETURN OLD;",
        ),
    ]
