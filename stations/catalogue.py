"""What machines can be set to, as told by whoever defines parameters.

``stations`` may not import ``recipes``, where the registry of parameters lives; at start-up that
registry enters here the part of it the equipment needs.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Setting:
    """One thing a machine sets, in the unit its own display uses."""

    code: str
    label: str
    unit: str  # UCUM; {pulse} where the machine counts the flow meter
    minimum: Decimal
    maximum: Decimal


SETTINGS: dict[str, Setting] = {}
ENDINGS: dict[str, str] = {}


def enter(settings: Iterable[Setting], endings: dict[str, str]) -> None:
    """Fill the catalogue; called once, when the program starts."""
    SETTINGS.update({setting.code: setting for setting in settings})
    ENDINGS.update(endings)
