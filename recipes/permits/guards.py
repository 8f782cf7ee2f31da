"""What the database itself refuses to do to a signed permit."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.planning.guards import SIGN_AGAIN, guards, moves, signed
from recipes.versions.guards import refuse

PERMITTED = (
    "author_id reason ends_at plan_digest acknowledgement accepted signature_id granted_at"
    " request_id"
)


def permit_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed: nobody makes a permit last longer."""
    life = moves("('in_force', 'ended')", "permit")
    answers = refuse(
        "NEW.request_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM recipes_changerequest r"
        " WHERE r.id = NEW.request_id AND r.state IN ('open', 'asked_back'))",
        "A permit answers a request that is undecided.",
        "Look at the request again.",
    )
    kept = refuse(
        "NEW.request_id IS DISTINCT FROM OLD.request_id",
        "A permit keeps the request that it answers.",
        SIGN_AGAIN,
    )
    return [
        *guards(signed(PERMITTED, "permit") + kept + life, "permit"),
        FirmTrigger(
            name="a_guard_insert",
            operation=pgtrigger.Insert,
            when=pgtrigger.Before,
            func=answers + "RETURN NEW;",
        ),
    ]


def permit_slot_guard() -> pgtrigger.Trigger:
    """A permit that answers a request is for that bar alone."""
    return FirmTrigger(
        name="a_guard_of_the_request",
        operation=pgtrigger.Insert,
        when=pgtrigger.Before,
        func=refuse(
            "EXISTS (SELECT 1 FROM recipes_permit p"
            " JOIN recipes_changerequest r ON r.id = p.request_id"
            " JOIN stations_slot s ON s.id = NEW.slot_id"
            " JOIN stations_station t ON t.id = s.station_id"
            " JOIN stations_machine m ON m.id = t.machine_id"
            " WHERE p.id = NEW.permit_id AND m.site_id <> r.site_id)",
            "A permit that answers a request is for the site that asked.",
            SIGN_AGAIN,
        )
        + "RETURN NEW;",
    )


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
