"""Numbers with their units as a sentence shows them."""

from __future__ import annotations

from decimal import Decimal


def plain(value: Decimal) -> str:
    """Return a decimal without trailing zeros or exponent, thousands separated: 1,120 or 9.5."""
    text = f"{value:,f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def with_unit(value: Decimal, unit: str) -> str:
    """Return the number and its unit: "9.5 bar", "93 °C", "280 pulses", "1 pulse"."""
    if unit == "pulses" and value == 1:
        return "1 pulse"
    return f"{plain(value)} {unit}".rstrip()


def between(low: Decimal, high: Decimal, unit: str) -> str:
    """Return a range with its unit once: "4 to 9 bar"."""
    return f"{plain(low)} to {with_unit(high, unit)}"


def tolerance(below: Decimal | None, above: Decimal | None, unit: str) -> str:
    """Return a tolerance: "±0.2 bar", or "-0.5/+1 °C" where the sides differ."""
    if below == above and below is not None:
        return f"±{with_unit(below, unit)}"
    low = "" if below is None else f"-{plain(below)}"
    high = "" if above is None else f"+{plain(above)}"
    return f"{low}{'/' if low and high else ''}{high} {unit}".rstrip()


def a_list(words: list[str]) -> str:
    """Return words as a list: "volume, mass or time"."""
    if not words:
        return "nothing"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
