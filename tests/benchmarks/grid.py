"""The grid with something in every slot of a chain, beside the bare SQL of one window of it."""

from datetime import timedelta

from django.test import Client
from django.utils import timezone

from recipes.versions.models import Version
from tests.benchmarks.chain import Chain
from tests.benchmarks.held import hold
from tests.benchmarks.history import page_line
from tests.benchmarks.table import Measurement

# What the first window shows: its slots with what is in force, and the last shots of that.
WINDOW = """
SELECT l.id, l.number, t.id, t.number, m.name, p.id, p.manner, p.verdict, c.title, c.values, s.shots
FROM (SELECT id FROM stations_site ORDER BY name LIMIT 2) site
JOIN stations_machine m ON m.site_id = site.id
JOIN stations_station t ON t.machine_id = m.id
JOIN stations_slot l ON l.station_id = t.id
LEFT JOIN stations_placement p ON p.slot_id = l.id AND p.state = 'in_force'
LEFT JOIN stations_controlsettings c ON c.id = p.settings_id
LEFT JOIN LATERAL (SELECT array_agg(k.verdict) AS shots FROM (SELECT verdict
    FROM stations_checkshot WHERE placement_id = p.id AND NOT left_out
    ORDER BY at DESC LIMIT 5) k) s ON true
"""


def rows(chain: Chain) -> list[Measurement]:
    """The grid's lines: pages a second at the 95th percentile, by what is asked."""
    versions = hold(chain)
    browser = Client()
    browser.force_login(chain.cast.head_roaster)
    asked = _asked(versions[-1])
    return [
        page_line(browser, f"grid, {name}, at {chain.slots:,} slots", f"/grid/{query}", WINDOW)
        for name, query in asked.items()
    ]


def _asked(version: Version) -> dict[str, str]:
    now = timezone.now()
    then, since = (f"{now - timedelta(days=days):%Y-%m-%d}" for days in (40, 11))
    return {
        "now": "",
        "in the middle": "?after=Bar 0500",
        "of one coffee": f"?coffee={version.recipe.coffee_id}",
        "what differs": "?state=differs",
        "what changed": f"?since={since}",
        "at a past moment": f"?as_of={then}",
        "of one coffee at a past moment": f"?as_of={then}&coffee={version.recipe.coffee_id}",
        "what differed at a past moment": f"?as_of={then}&state=differs",
    }
