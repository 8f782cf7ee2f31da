"""What the database itself refuses to do to a placement, whatever way the attempt took.

Statement-level throughout: what is signed touches tens of thousands of rows in one statement, and
a check per row would cost more than the rows.
"""

import pgtrigger

from audit.capture.triggers import FirmTrigger, refusal

LOCKED = "PL001"  # SQLSTATE of every refusal here, so that Python can tell it from a mistake
HINT = (
    "A head roaster changes it by signing what takes its place or steps in for a time; "
    "a shop lead asks for that."
)


def refuse(condition: str, message: str) -> str:
    """PL/pgSQL that raises ``message`` (and the hint) when a row in ``condition`` exists."""
    return (
        f"IF EXISTS ({condition}) THEN RAISE EXCEPTION USING ERRCODE = '{LOCKED}',"
        f" MESSAGE = '{message}', HINT = '{HINT}'; END IF;"
    )


# Old and new rows meet in a FULL JOIN, which can't be planned as a nested loop; a plan kept from a
# one-row statement would be one. OFFSET 0 keeps the conditions outside from turning it back.
PAIRS = """(SELECT n.*, o.slot_id AS old_slot_id, o.site_id AS old_site_id,
        o.settings_id AS old_settings_id, o.basis AS old_basis, o.basis_id AS old_basis_id,
        o.manner AS old_manner,
        o.signature_id AS old_signature_id, o.due_at AS old_due_at, o.state AS old_state
    FROM changed n FULL JOIN original o ON n.id = o.id OFFSET 0) n"""

FIXED = refuse(
    f"""SELECT 1 FROM {PAIRS}
    WHERE (n.slot_id, n.site_id, n.settings_id, n.basis, n.manner, n.due_at)
          IS DISTINCT FROM
          (n.old_slot_id, n.old_site_id, n.old_settings_id, n.old_basis, n.old_manner,
           n.old_due_at)
       OR n.basis_id IS DISTINCT FROM n.old_basis_id
       OR n.signature_id IS DISTINCT FROM n.old_signature_id""",
    "A locked slot cannot be set to something else: a placement''s settings never change.",
)

TRANSITIONS = refuse(
    f"""SELECT 1 FROM {PAIRS}
    WHERE n.state <> n.old_state AND (n.old_state, n.state) NOT IN (
        ('scheduled', 'in_force'), ('scheduled', 'cancelled'), ('in_force', 'ended'),
        ('in_force', 'suspended'), ('suspended', 'in_force'), ('suspended', 'ended'),
        ('scheduled', 'suspended'))""",
    "A placement cannot go from its state to that one.",
)

EARLY = refuse(
    f"""SELECT 1 FROM {PAIRS}
    WHERE n.old_state = 'scheduled' AND n.state = 'in_force' AND n.due_at > clock_timestamp()""",
    "A placement cannot come into force before it is due.",
)

# What a slot falls back to is replaced by one thing only: what renews the same content, in the
# transaction that ends the other. It waits until what stepped in ends.
BENEATH = refuse(
    f"""SELECT 1 FROM {PAIRS}
    WHERE n.old_state = 'scheduled' AND n.state = 'suspended' AND NOT (
        n.manner = 'renews' AND n.due_at <= clock_timestamp()
        AND EXISTS (SELECT 1 FROM stations_placement p WHERE p.id = n.superseded_by_id
            AND p.slot_id = n.slot_id AND p.manner = 'steps_in' AND p.state = 'in_force')
        AND EXISTS (SELECT 1 FROM stations_placement o
            JOIN stations_controlsettings a ON a.id = o.settings_id
            JOIN stations_controlsettings b ON b.id = n.settings_id
            WHERE o.slot_id = n.slot_id AND o.superseded_by_id = n.id AND o.state = 'ended'
                AND o.ended_at >= transaction_timestamp()
                AND a.content_digest = b.content_digest))""",
    "Only what renews the same content takes the place of what a slot falls back to.",
)

# What a locked slot holds ends in the very statement that puts a signed successor for the same
# slot into force: one that is only due could be left waiting, and the slot stand open meanwhile.
# Only what steps in suspends, so that nothing else has a way back; and what is suspended is ended
# by what takes over, or by what renews it in its place.
SUCCESSOR = refuse(
    f"""SELECT 1 FROM {PAIRS}
    LEFT JOIN stations_placement s
        ON s.id = n.superseded_by_id AND s.slot_id = n.slot_id AND s.id <> n.id
        AND s.signature_id IS NOT NULL AND s.due_at <= clock_timestamp()
        AND (s.manner = 'steps_in') = (n.state = 'suspended')
        AND (s.state = 'in_force' OR s.state = 'suspended' AND n.old_state = 'suspended')
    WHERE n.manner <> 'by_hand' AND n.old_state IN ('in_force', 'suspended') AND s.id IS NULL
        AND (n.state = 'ended' OR (n.state = 'suspended' AND n.old_state = 'in_force'))""",
    "A locked slot stays locked: what it holds ends only when a signed placement takes over.",
)

HAND = refuse(
    """SELECT 1 FROM changed n JOIN stations_placement s
        ON s.slot_id = n.slot_id AND s.id <> n.id AND s.manner <> 'by_hand'
        AND s.state IN ('in_force', 'suspended')
    WHERE n.manner = 'by_hand' AND n.state = 'in_force'""",
    "This slot is locked: it cannot be set by hand.",
)

# Given in this very transaction (the database stamps the moment of a signature): one that lies
# there already cannot be borrowed for slots and settings that its signer never saw. What still
# waited when its station was measured anew is under the same basis, with the signature over that
# measurement: the same content for the same moment, in place of what was cancelled for it.
SIGNED = refuse(
    """SELECT 1 FROM changed n LEFT JOIN people_signature s
        ON s.id = n.signature_id AND s.at >= transaction_timestamp()
        AND (s.subject_type = n.basis AND s.subject_id = n.basis_id
            OR s.meaning = 're_translated' AND n.manner = 'takes_over' AND EXISTS (
                SELECT 1 FROM stations_placement o
                JOIN stations_controlsettings a ON a.id = o.settings_id
                JOIN stations_controlsettings b ON b.id = n.settings_id
                WHERE o.slot_id = n.slot_id AND o.basis = n.basis AND o.basis_id = n.basis_id
                    AND o.manner = n.manner AND o.due_at = n.due_at AND o.state = 'cancelled'
                    AND o.ended_at >= transaction_timestamp()
                    AND a.content_digest = b.content_digest AND a.station_id = b.station_id))
    WHERE n.manner <> 'by_hand' AND s.id IS NULL""",
    "A placement needs the signature of what it is under, given together with it.",
)

FRESH = refuse(
    """SELECT 1 FROM changed n WHERE n.state NOT IN ('scheduled', 'in_force')
        OR n.verdict <> 'unread' OR n.ended_at IS NOT NULL
        OR (n.state = 'in_force' AND n.manner <> 'by_hand')""",
    "A placement begins scheduled (or in force when set by hand) and not yet read back.",
)

KEPT = refuse("SELECT 1 FROM original", "A placement is never removed.")

# What was noted without a line says when it was made: never what is to come, and no earlier than
# web.queued.OLDEST, with an hour for what takes long on the way. A gateway catches up with what it
# kept for five weeks. Asked in the trigger's WHEN, which costs bulk inserts next to nothing.
MADE_LATELY = FirmTrigger(
    name="a_guard_made_lately",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    condition=pgtrigger.Condition(
        "NEW.at NOT BETWEEN clock_timestamp() - CASE WHEN NEW.gateway_id IS NULL"
        " THEN interval '73 hours' ELSE interval '35 days' END AND clock_timestamp()"
    ),
    func=refusal("The moment in % is one of the last three days, or five weeks of a gateway."),
)


def placement_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep locked slots locked. They sort before those that write history."""
    return [
        FirmTrigger(
            name="a_guard_insert",
            level=pgtrigger.Statement,
            operation=pgtrigger.Insert,
            when=pgtrigger.After,
            referencing=pgtrigger.Referencing(new="changed"),
            func=FRESH + SIGNED + HAND + "RETURN NULL;",
        ),
        FirmTrigger(
            name="a_guard_update",
            level=pgtrigger.Statement,
            operation=pgtrigger.Update,
            when=pgtrigger.After,
            referencing=pgtrigger.Referencing(old="original", new="changed"),
            func=FIXED + TRANSITIONS + EARLY + BENEATH + SUCCESSOR + HAND + "RETURN NULL;",
        ),
        FirmTrigger(
            name="a_guard_delete",
            level=pgtrigger.Statement,
            operation=pgtrigger.Delete,
            when=pgtrigger.After,
            referencing=pgtrigger.Referencing(old="original"),
            func=KEPT + "RETURN NULL;",
        ),
    ]
