"""What may be entered about equipment at all: hard limits, with their units."""

import re
from decimal import Decimal

from web.checks import Checks
from web.numbers import Bounds

ALTITUDE = Bounds(Decimal(-430), Decimal(6000), places=2, unit="m")
PULSES = Bounds(Decimal("0.001"), Decimal(1000), unit="pulses/mL")
OFFSET = Bounds(Decimal(-15), Decimal(15), places=3, unit="°C")
AIR_PRESSURE = Bounds(Decimal(400), Decimal(1100), places=2, unit="hPa")
STATION_NUMBER = Bounds(Decimal(1), Decimal(99), places=0)
SLOT_COUNT = Bounds(Decimal(1), Decimal(32), places=0)

CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
CODE_WORDS = "a code no other site has: small letters, digits and hyphens, up to 20 characters"


def check_code(checks: Checks, field: str, value: object) -> str:
    """A site's code as it stands in addresses."""
    code = str(value or "").strip()
    if len(code) > 20 or not CODE.fullmatch(code):
        checks.fault(field, value, CODE_WORDS)
    return code
