"""Bars."""

import re
from decimal import Decimal

from audit.context import recorded
from audit.errors import Problem
from audit.revision import compare_and_set
from audit.subject import Subject
from people.models import User
from people.permissions import require, require_everywhere
from people.verbs import Verb
from stations import history
from stations.checks import ALTITUDE, Checks, taken
from stations.models import Site

CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
CODE_WORDS = "a code no other site has: small letters, digits and hyphens, up to 20 characters"


def check_code(checks: Checks, field: str, value: object) -> str:
    """A site's code as it stands in addresses."""
    code = str(value or "").strip()
    if len(code) > 20 or not CODE.fullmatch(code):
        checks.fault(field, value, CODE_WORDS)
    return code


def add_site(*, code: str, name: str, time_zone: str, altitude: Decimal, by: User) -> Site:
    """Add a bar; altitude in metres above sea level, time zone by its IANA name.

    Raises Invalid, and NotPermitted without a role that covers all sites.
    """
    subject = Subject("site", None, str(name))
    with recorded(by=by, action=history.SITE_ADDED, subject=subject):
        require_everywhere(by, Verb.EQUIPMENT_EDIT, subject)
        checks = Checks()
        site = Site(
            code=check_code(checks, "code", code),
            name=checks.text("name", name),
            time_zone=checks.zone("time_zone", time_zone),
            altitude=checks.number("altitude", altitude, ALTITUDE),
        )
        checks.done()
        with taken(stations_site_code_key=Problem("code", code, CODE_WORDS), **_name_taken(name)):
            site.save(force_insert=True)
    return site


def change_site(
    *, site: Site, seen_revision: int, name: str, time_zone: str, altitude: Decimal, by: User
) -> Site:
    """Change a bar's name, zone or altitude. Its code stays: gateways ask by it.

    Raises Invalid, Stale and NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=history.SITE_CHANGED, subject=subject, site_id=site.pk):
        require(by, Verb.EQUIPMENT_EDIT, site.pk, subject)
        checks = Checks()
        values = {
            "name": checks.text("name", name),
            "time_zone": checks.zone("time_zone", time_zone),
            "altitude": checks.number("altitude", altitude, ALTITUDE),
        }
        checks.done()
        with taken(**_name_taken(name)):
            compare_and_set(site, seen_revision, **values)
    return site


def _name_taken(name: str) -> dict[str, Problem]:
    return {"stations_site_name_key": Problem("name", name, "a name no other site has")}
