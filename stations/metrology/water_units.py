"""Hardness, alkalinity and temperature in the units that water reports come in."""

from __future__ import annotations

from enum import StrEnum

from stations.metrology.errors import BadValueError
from stations.metrology.numbers import Real, number

# Standard atomic weights [g/mol] (CIAAW, abridged).
CALCIUM, MAGNESIUM, CARBON, OXYGEN, HYDROGEN = 40.078, 24.305, 12.011, 15.999, 1.008
CALCIUM_CARBONATE = CALCIUM + CARBON + 3 * OXYGEN
CALCIUM_OXIDE = CALCIUM + OXYGEN
BICARBONATE = HYDROGEN + CARBON + 3 * OXYGEN
GRAIN = 64.79891  # mg
IMPERIAL_GALLON, US_GALLON = 4.54609, 3.785411784  # L
KELVIN, FAHRENHEIT_ZERO = 273.15, 32.0
LARGEST = 1e5


class HardnessUnit(StrEnum):
    """Units of hardness; the value is the symbol shown."""

    MILLIGRAM_CACO3 = "mg/L CaCO3"
    MILLIMOLE = "mmol/L"
    GERMAN_DEGREE = "°dH"
    FRENCH_DEGREE = "°fH"
    ENGLISH_DEGREE = "°e"
    GRAIN_PER_US_GALLON = "gpg"


class AlkalinityUnit(StrEnum):
    """Units of alkalinity; the value is the symbol shown."""

    MILLIGRAM_CACO3 = "mg/L CaCO3"
    MILLIEQUIVALENT = "meq/L"
    MILLIGRAM_BICARBONATE = "mg/L HCO3"
    GERMAN_DEGREE = "°dKH"
    FRENCH_DEGREE = "°fH"


class TemperatureUnit(StrEnum):
    """Units of temperature; the value is the symbol shown."""

    CELSIUS = "°C"
    FAHRENHEIT = "°F"
    KELVIN = "K"


GERMAN_DEGREE = 10.0 / CALCIUM_OXIDE * CALCIUM_CARBONATE

# What one of each unit is in mg/L CaCO3.
HARDNESS = {
    HardnessUnit.MILLIGRAM_CACO3: 1.0,
    HardnessUnit.MILLIMOLE: CALCIUM_CARBONATE,
    HardnessUnit.GERMAN_DEGREE: GERMAN_DEGREE,
    HardnessUnit.FRENCH_DEGREE: 10.0,
    HardnessUnit.ENGLISH_DEGREE: GRAIN / IMPERIAL_GALLON,
    HardnessUnit.GRAIN_PER_US_GALLON: GRAIN / US_GALLON,
}
ALKALINITY = {
    AlkalinityUnit.MILLIGRAM_CACO3: 1.0,
    AlkalinityUnit.MILLIEQUIVALENT: CALCIUM_CARBONATE / 2.0,
    AlkalinityUnit.MILLIGRAM_BICARBONATE: CALCIUM_CARBONATE / 2.0 / BICARBONATE,
    AlkalinityUnit.GERMAN_DEGREE: GERMAN_DEGREE,
    AlkalinityUnit.FRENCH_DEGREE: 10.0,
}


def hardness(value: Real, unit: str, to: str = HardnessUnit.MILLIGRAM_CACO3) -> float:
    """Return a hardness in another unit.

    1 mmol/L = 100.086 mg/L CaCO3; 1 °dH = 10 mg/L CaO; 1 °fH = 10 mg/L CaCO3; 1 °e and 1 gpg are
    a grain of CaCO3 per imperial and US gallon. Raises BadValueError for a negative value and an
    unknown unit.
    """
    known = {str(name): factor for name, factor in HARDNESS.items()}
    return _converted("hardness", value, unit, to, known)


def alkalinity(value: Real, unit: str, to: str = AlkalinityUnit.MILLIGRAM_CACO3) -> float:
    """Return an alkalinity in another unit; 1 meq/L = 50.043 mg/L CaCO3 = 61.016 mg/L HCO3.

    Raises BadValueError for a negative value and an unknown unit.
    """
    known = {str(name): factor for name, factor in ALKALINITY.items()}
    return _converted("alkalinity", value, unit, to, known)


def hardness_of(calcium: Real, magnesium: Real) -> float:
    """Return total hardness [mg/L CaCO3] from calcium and magnesium [mg/L].

    2.4973 Ca + 4.1179 Mg (molar masses; Standard Methods 2340 B). Raises BadValueError for
    negative values.
    """
    ca = number("calcium", calcium, "mg/L", low=0.0, high=LARGEST)
    mg = number("magnesium", magnesium, "mg/L", low=0.0, high=LARGEST)
    return CALCIUM_CARBONATE * (ca / CALCIUM + mg / MAGNESIUM)


def celsius(value: Real, unit: str) -> float:
    """Return a temperature in °C. Raises BadValueError for an unknown unit or below 0 K."""
    degrees = number("temperature", value, unit, low=-LARGEST, high=LARGEST)
    if unit == TemperatureUnit.FAHRENHEIT:
        degrees = (degrees - FAHRENHEIT_ZERO) / 1.8
    elif unit == TemperatureUnit.KELVIN:
        degrees -= KELVIN
    elif unit != TemperatureUnit.CELSIUS:
        raise BadValueError("unit", unit, ", ".join(TemperatureUnit))
    return number("temperature", degrees, "°C", low=-KELVIN, high=LARGEST)


def _converted(field: str, value: Real, unit: str, to: str, known: dict[str, float]) -> float:
    """Return a value in another unit, by way of mg/L CaCO3."""
    for name in (unit, to):
        if str(name) not in known:
            raise BadValueError(f"{field} unit", name, ", ".join(known))
    amount = number(field, value, unit, low=0.0, high=LARGEST)
    return amount * known[str(unit)] / known[str(to)]
