"""What the database refuses to do to findings."""

import pgtrigger

from audit.capture.triggers import FirmTrigger, refusal


def found_there() -> pgtrigger.Trigger:
    """A finding is made open, at the site of its station."""
    return FirmTrigger(
        name="a_guard_found_there",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Insert,
        func=f"""
        IF NEW.state <> 'open' OR NOT EXISTS (SELECT 1 FROM stations_station s
            JOIN stations_machine m ON m.id = s.machine_id
            WHERE s.id = NEW.station_id AND m.site_id = NEW.site_id)
        THEN {refusal("What is found goes to % open, at the site of its station.")} END IF;
        RETURN NEW;
        """,
    )


# By each kind of evidence, what must be there: later than the finding, of its station and cause.
EVIDENCE = """
    CASE NEW.evidence
    WHEN 'calibration' THEN EXISTS (SELECT 1 FROM stations_calibration c
        WHERE c.id = NEW.evidence_id AND c.station_id = NEW.station_id AND c.state = 'accepted'
            AND c.decided_at >= NEW.found_at
            AND c.kind = CASE NEW.cause WHEN 'meter' THEN 'flow_meter'
                WHEN 'probe' THEN 'temperature' END)
    WHEN 'replacement' THEN EXISTS (SELECT 1 FROM stations_replacement r
        WHERE r.id = NEW.evidence_id AND r.station_id = NEW.station_id
            AND r.noted_at >= NEW.found_at
            AND r.part = CASE NEW.cause WHEN 'meter' THEN 'flow_meter'
                WHEN 'probe' THEN 'probe' END)
    WHEN 'grinder' THEN NEW.cause = 'grind' AND EXISTS (SELECT 1 FROM stations_grinderevent e
        JOIN stations_grinderstation g ON g.grinder_id = e.grinder_id
        WHERE e.id = NEW.evidence_id AND g.station_id = NEW.station_id
            AND e.kind IN ('burrs', 'replaced') AND e.at >= NEW.found_at)
    ELSE OLD.state = 'acknowledged' END
"""


def answered_in_turn() -> pgtrigger.Trigger:
    """What was found stays; it is acknowledged once, and cleared once, by evidence that exists."""
    return FirmTrigger(
        name="a_guard_answered_in_turn",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Update | pgtrigger.Delete,
        func=f"""
        IF TG_OP = 'DELETE' OR OLD.state = 'cleared'
            OR NOT (OLD.state, NEW.state) IN (('open', 'acknowledged'), ('open', 'cleared'),
                ('acknowledged', 'cleared'))
            OR (NEW.station_id, NEW.site_id, NEW.cause, NEW.upward, NEW.size, NEW.total,
                NEW.decision, NEW.run_length, NEW.shots, NEW.points, NEW.began_at, NEW.found_at,
                NEW.grinder_id)
                IS DISTINCT FROM (OLD.station_id, OLD.site_id, OLD.cause, OLD.upward, OLD.size,
                OLD.total, OLD.decision, OLD.run_length, OLD.shots, OLD.points, OLD.began_at,
                OLD.found_at, OLD.grinder_id)
            OR OLD.state = 'acknowledged' AND (NEW.given, NEW.note, NEW.acknowledged_by_id,
                NEW.acknowledged_at) IS DISTINCT FROM (OLD.given, OLD.note,
                OLD.acknowledged_by_id, OLD.acknowledged_at)
        THEN {refusal("What was found in % stays, and is answered in turn.")} END IF;
        IF NEW.state = 'cleared' AND NOT ({EVIDENCE})
        THEN {refusal("A finding in % is cleared by evidence that is there.")} END IF;
        RETURN NEW;
        """,
    )
