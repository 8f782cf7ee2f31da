"""What the database refuses to do to charts that were kept."""

import pgtrigger

from audit.capture.triggers import FirmTrigger


def kept_chart_guard() -> pgtrigger.Trigger:
    """A kept chart is of the site at which its station stands."""
    return FirmTrigger(
        name="a_guard_insert",
        operation=pgtrigger.Insert,
        when=pgtrigger.Before,
        func="""IF NOT EXISTS (SELECT 1 FROM stations_station s
                JOIN stations_machine m ON m.id = s.machine_id
                WHERE s.id = NEW.station_id AND m.site_id = NEW.site_id) THEN
            RAISE EXCEPTION USING ERRCODE = 'PL002',
                MESSAGE = 'A chart is kept at the site of its station.',
                HINT = 'Keep it from its page.';
        END IF;
        RETURN NEW;""",
    )
