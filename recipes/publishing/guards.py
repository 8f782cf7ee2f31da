"""What the database itself refuses to do to signed publications and permits."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.versions.guards import refuse

SIGN_AGAIN = "What is signed stays as it was signed: plan and sign another one."


def _changed(columns: str) -> str:
    """SQL that holds when any of the columns differs."""
    return " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in columns.split())


def _signed(columns: str, what: str) -> str:
    return refuse(
        f"OLD.signature_id IS NOT NULL AND ({_changed(columns)})",
        f"A signed {what} never changes.",
        SIGN_AGAIN,
    )


def _moves(allowed: str, what: str) -> str:
    return refuse(
        f"NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN ({allowed})",
        f"A {what} cannot go from its state to that one.",
        SIGN_AGAIN,
    )


# Invariant 8: as long as one slot waits, the sweep must find the publication under way.
UNFINISHED = refuse(
    """NEW.state = 'complete' AND OLD.state <> 'complete' AND EXISTS (
        SELECT 1 FROM stations_placement p
        WHERE p.basis = 'publication' AND p.basis_id = NEW.id AND p.state = 'scheduled')""",
    "A publication is complete only once every slot is placed.",
    "The worker completes it by itself; or stop and cancel it.",
)

PUBLISHED = (
    "version_id author_id reason scope scope_label local_date local_time plan_digest"
    " acknowledgement signature_id made_at"
)
PERMITTED = "author_id reason ends_at plan_digest acknowledgement signature_id granted_at"


def publication_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed, and the order of a publication's life."""
    moves = _moves(
        "('running', 'stopped'), ('running', 'complete'), ('stopped', 'running'),"
        " ('stopped', 'cancelled')",
        "publication",
    )
    return _guards(_signed(PUBLISHED, "publication") + moves + UNFINISHED, "publication")


def share_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep a publication's share of one site: what is placed stays counted."""
    kept = refuse(
        _changed("publication_id site_id due_at slots refusals"),
        "What a publication places at a site, and when, never changes.",
        SIGN_AGAIN,
    )
    counted = refuse(
        "NEW.placed < OLD.placed OR NEW.cancelled < OLD.cancelled",
        "What was placed or cancelled stays counted.",
        SIGN_AGAIN,
    )
    return _guards(kept + counted, "publication")


def permit_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed: nobody makes a permit last longer."""
    moves = _moves("('in_force', 'ended')", "permit")
    return _guards(_signed(PERMITTED, "permit") + moves, "permit")


def permit_part_guard(part: str) -> pgtrigger.Trigger:
    """Lets slots and changes be added to a permit only until it is signed."""
    return FirmTrigger(
        name="a_guard_insert",
        operation=pgtrigger.Insert,
        when=pgtrigger.Before,
        func=refuse(
            "EXISTS (SELECT 1 FROM recipes_permit p"
            " WHERE p.id = NEW.permit_id AND p.signature_id IS NOT NULL)",
            f"A signed permit takes no further {part}.",
            SIGN_AGAIN,
        )
        + "RETURN NEW;",
    )


def _guards(update: str, what: str) -> list[pgtrigger.Trigger]:
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
