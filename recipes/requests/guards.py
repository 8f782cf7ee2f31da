"""What the database refuses to do to change requests and what they propose."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.versions.guards import by_statement, refuse

ASK_AGAIN = "Make a new request."
FINAL = "('accepted', 'declined', 'taken_back', 'permitted')"


def request_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep who asked, and a decision once made."""
    kept = refuse(
        "(NEW.author_id, NEW.site_id, NEW.made_at, NEW.kind)"
        " IS DISTINCT FROM (OLD.author_id, OLD.site_id, OLD.made_at, OLD.kind)",
        "A change request keeps its author, site, time and kind.",
        ASK_AGAIN,
    )
    answer = refuse(
        "NEW.state = 'accepted' AND NEW.kind = 'permit'",
        "A request for a permit is answered by one, or declined.",
        ASK_AGAIN,
    ) + refuse(
        "NEW.state = 'permitted' AND NOT EXISTS (SELECT 1 FROM recipes_permit p"
        " WHERE p.request_id = NEW.id AND p.signature_id IS NOT NULL)",
        "A request is permitted by a signed permit that answers it.",
        ASK_AGAIN,
    )
    final = refuse(
        f"OLD.state IN {FINAL}",
        "A settled request stays settled.",
        ASK_AGAIN,
    )
    return [
        FirmTrigger(
            name="a_guard_update",
            operation=pgtrigger.Update,
            when=pgtrigger.Before,
            func=kept + final + answer + "RETURN NEW;",
        ),
        FirmTrigger(
            name="a_guard_delete",
            operation=pgtrigger.Delete,
            when=pgtrigger.Before,
            func=refuse("TRUE", "A change request is never removed.", ASK_AGAIN) + "RETURN OLD;",
        ),
    ]


# The share lock makes a proposal's change and the decision wait for each other, as with formulas.
SETTLED = """
    PERFORM 1 FROM recipes_changerequest r
        WHERE r.id IN (SELECT request_id FROM {rows}) FOR SHARE;
    IF EXISTS (SELECT 1 FROM {rows} n JOIN recipes_changerequest r ON r.id = n.request_id
            WHERE r.state IN {final}) THEN
        RAISE EXCEPTION USING ERRCODE = 'PL002',
            MESSAGE = 'What a settled request proposed stays as it was.',
            HINT = 'Make a new request.';
    END IF;
"""


def proposal_guards() -> list[pgtrigger.Trigger]:
    """Triggers that let proposals change only while their request is undecided."""
    return by_statement(
        *(SETTLED.format(rows=rows, final=FINAL) for rows in ("original", "changed"))
    )


def evidence_guards() -> list[pgtrigger.Trigger]:
    """What is attached lies at the request's site, and stays once the request is settled."""
    elsewhere = """NOT EXISTS (SELECT 1 FROM recipes_changerequest r WHERE r.id = NEW.request_id
        AND r.site_id = coalesce(
            (SELECT k.site_id FROM stations_checkshot k WHERE k.id = NEW.shot_id),
            (SELECT p.site_id FROM stations_readback b
                JOIN stations_placement p ON p.id = b.placement_id
                WHERE b.id = NEW.read_back_id),
            (SELECT c.site_id FROM stations_keptchart c WHERE c.id = NEW.chart_id),
            (SELECT t.site_id FROM recipes_tasting t WHERE t.id = NEW.tasting_id)))"""
    closed = """EXISTS (SELECT 1 FROM recipes_tasting t
        WHERE t.id = NEW.tasting_id AND t.state <> 'opened')"""
    return [
        *proposal_guards(),
        FirmTrigger(
            name="a_guard_same_site",
            level=pgtrigger.Row,
            operation=pgtrigger.Insert | pgtrigger.Update,
            when=pgtrigger.Before,
            func=refuse(elsewhere, "Evidence is of the site that asks.", ASK_AGAIN)
            + refuse(closed, "Only an opened tasting is evidence.", ASK_AGAIN)
            + "RETURN NEW;",
        ),
    ]


def slot_guards() -> list[pgtrigger.Trigger]:
    """Slots are of the site that asks, of a request for a permit, and stay once it is settled."""
    elsewhere = """NOT EXISTS (SELECT 1 FROM recipes_changerequest r
        JOIN stations_slot s ON s.id = NEW.slot_id
        JOIN stations_station t ON t.id = s.station_id
        JOIN stations_machine m ON m.id = t.machine_id
        WHERE r.id = NEW.request_id AND r.site_id = m.site_id AND r.kind = 'permit')"""
    return [
        *proposal_guards(),
        FirmTrigger(
            name="a_guard_same_site",
            level=pgtrigger.Row,
            operation=pgtrigger.Insert | pgtrigger.Update,
            when=pgtrigger.Before,
            func=refuse(elsewhere, "A permit is asked for slots of the site that asks.", ASK_AGAIN)
            + "RETURN NEW;",
        ),
    ]
