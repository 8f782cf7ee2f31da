"""What a machine can set, and what has been measured at one of its stations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import require_plain


@dataclass(frozen=True, slots=True)
class ParameterAbility:
    """The range and step of one setting, in the unit the machine is set in.

    That unit is the parameter's own, except that volumes and percents of a volume are set in
    flow-meter pulses.
    """

    code: str
    minimum: Decimal
    maximum: Decimal
    resolution: Decimal

    def __post_init__(self) -> None:
        """Raise BadValueError for a range that is upside down or a resolution not above zero."""
        for name in ("minimum", "maximum", "resolution"):
            require_plain(f"{self.code} {name}", getattr(self, name))
        if self.minimum > self.maximum:
            allowed = f"at most the maximum, {self.maximum}"
            raise BadValueError(f"{self.code} minimum", self.minimum, allowed)
        if self.resolution <= 0:
            raise BadValueError(f"{self.code} resolution", self.resolution, "a number above 0")


@dataclass(frozen=True, slots=True)
class MachineAbilities:
    """What a machine can set, by parameter code, and the ways in which it can end a shot."""

    parameters: Mapping[str, ParameterAbility]
    ends_by: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class StationTraits:
    """What has been measured at one station. None means: not measured.

    ``pulses_per_millilitre``: slope K of the accepted flow-meter calibration [1/mL].
    ``slope_uncertainty``: standard uncertainty of K [1/mL].
    ``repeatability``: standard deviation of the volume delivered by one setting [mL].
    ``temperature_offset``: water temperature at the group minus the temperature displayed or
    set [°C]; the setting is the target minus this.
    ``offset_uncertainty``: its standard uncertainty [°C].
    ``altitude``: of the site above mean sea level, geometric [m].
    ``air_pressure``: a barometer reading at the site, absolute [hPa]; used before the altitude.
    """

    pulses_per_millilitre: Decimal | None = None
    temperature_offset: Decimal | None = None
    altitude: Decimal | None = None
    slope_uncertainty: Decimal | None = None
    repeatability: Decimal | None = None
    offset_uncertainty: Decimal | None = None
    air_pressure: Decimal | None = None

    def __post_init__(self) -> None:
        """Raise BadValueError for a number that isn't finite, K not above 0, a negative spread."""
        for name in self.__slots__:
            value = getattr(self, name)
            if value is not None:
                require_plain(name, value)
        if self.pulses_per_millilitre is not None and self.pulses_per_millilitre <= 0:
            raise BadValueError(
                "pulses_per_millilitre", self.pulses_per_millilitre, "above 0 per mL"
            )
        for name in ("slope_uncertainty", "repeatability", "offset_uncertainty"):
            value = getattr(self, name)
            if value is not None and value < 0:
                raise BadValueError(name, value, "0 or more")
