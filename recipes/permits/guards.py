"""What the database itself refuses to do to a signed permit."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.planning.guards import SIGN_AGAIN, guards, moves, signed
from recipes.versions.guards import refuse

PERMITTED = "author_id reason ends_at plan_digest acknowledgement accepted signature_id granted_at"


def permit_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed: nobody makes a permit last longer."""
    life = moves("('in_force', 'ended')", "permit")
    return guards(signed(PERMITTED, "permit") + life, "permit")


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
