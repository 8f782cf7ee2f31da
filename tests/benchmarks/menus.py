"""A menu that every site of a chain follows, beside the bare SQL of what its pages show.

Its plan is beside the bare reading of the rows that it is about: slots, stations, what each holds.
"""

from datetime import UTC, datetime

from django.db import connection
from django.test import Client

from audit.capture.context import recorded
from recipes.menus import history
from recipes.menus.departures import departing_slots
from recipes.menus.drafts import add_menu, edit_draft
from recipes.menus.models import Following, MenuVersion
from recipes.menus.plan import make_menu_plan
from recipes.menus.publishing import for_plan
from recipes.menus.review import approve, submit
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Site
from tests.benchmarks.chain import SLOTS, Chain
from tests.benchmarks.history import page_line
from tests.benchmarks.table import Measurement, medians
from tests.cast import credentials

# What a menu is held against: every slot with the content that is in force there.
HELD = """
SELECT m.site_id, l.number, c.content_digest FROM stations_slot l
JOIN stations_station t ON t.id = l.station_id JOIN stations_machine m ON m.id = t.machine_id
LEFT JOIN stations_placement p ON p.slot_id = l.id AND p.state = 'in_force'
LEFT JOIN stations_controlsettings c ON c.id = p.settings_id
"""
COUNTED = f"SELECT site_id, count(DISTINCT content_digest) FROM ({HELD}) held GROUP BY 1"


def rows(chain: Chain) -> list[Measurement]:
    """The menus' lines; the chain holds something in every slot already (`held`)."""
    menu = _followed(chain)
    browser = Client()
    browser.force_login(chain.cast.head_roaster)
    page = page_line(browser, f"menus followed by {chain.sites:,} sites", "/menus/", COUNTED)
    url = menu.menu.get_absolute_url()
    one = page_line(browser, f"a menu followed by {chain.sites:,} sites", url, COUNTED)
    return [page, one, _departing(chain), _planned(chain, menu)]


def _followed(chain: Chain) -> MenuVersion:
    """An approved menu of the newest approved versions, one a slot number."""
    cast = chain.cast
    by, says = cast.head_roaster, Version.objects.approved().order_by("pk")[:SLOTS]
    draft = add_menu(by=by, name="Chain", like=None)
    draft.refresh_from_db()
    numbered = {number: version.pk for number, version in enumerate(says, start=1)}
    edit_draft(by=by, menu_version=draft, revision=draft.revision, arrangement=numbered, note="")
    draft.refresh_from_db()
    shown = submit(by=by, menu_version=draft, revision=draft.revision)
    made = approve(
        by=cast.second_roaster, menu_version=shown, seen=shown.content_digest,
        credentials=credentials(cast.second_roaster),
    )  # fmt: skip
    with recorded(by=by, action=history.MENU_FOLLOWED):
        Following.objects.bulk_create(
            Following(menu=made.menu, site=site, by=by) for site in Site.objects.all()
        )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return made


def _bare() -> None:
    with connection.cursor() as cursor:
        cursor.execute(HELD)
        cursor.fetchall()


def _departing(chain: Chain) -> Measurement:
    sites = list(Site.objects.values_list("pk", flat=True))
    ours, bare = medians(lambda: departing_slots(sites), _bare)
    return Measurement("departing slots of a chain", chain.slots / ours, "slots/s", ours / bare)


def _planned(chain: Chain, menu: MenuVersion) -> Measurement:
    whole, sites = for_plan(menu.pk), list(Site.objects.values_list("pk", flat=True))
    assert whole

    def plan() -> object:
        return make_menu_plan(
            by=chain.cast.head_roaster, menu_version=whole, sites=sites, when=When(),
            now=datetime.now(UTC),
        )  # fmt: skip

    ours, bare = medians(plan, _bare)
    return Measurement("plan of a menu", chain.slots / ours, "slots/s", ours / bare)
