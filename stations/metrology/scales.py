"""In which units sentences name temperatures and masses: °C and g, or those of whoever reads."""

from __future__ import annotations

import re
from dataclasses import dataclass

# As `Scales` itself writes a figure: a difference of temperatures has its sign before it.
WRITTEN = re.compile(r"([+−])?(-?\d+(?:\.\d+)?(?:e[+-]\d+)?) (°C|g)(?![\w/])")  # noqa: RUF001


@dataclass(frozen=True, slots=True)
class Scales:
    """Names and conversions [from °C and g]; both conversions are exact (NIST SP 811, B.8)."""

    degree: str = "°C"
    per_celsius: float = 1.0
    zero: float = 0.0
    mass: str = "g"
    grams: float = 1.0

    def at(self, celsius: float, form: str = "g") -> str:
        """A temperature."""
        return f"{celsius * self.per_celsius + self.zero:{form}} {self.degree}"

    def by(self, celsius: float, form: str = "g") -> str:
        """A difference of two."""
        return f"{celsius * self.per_celsius:{form}} {self.degree}"

    def signed(self, celsius: float) -> str:
        """A difference with its sign."""
        return self.by(celsius, "+.1f").replace("-", "−")  # noqa: RUF001 - the sign pages print

    def weighing(self, grams: float) -> str:
        """A mass."""
        return f"{grams / self.grams:g} {self.mass}"

    def again(self, text: str) -> str:
        """What was written in °C and g, with its figures in these units."""

        def put(found: re.Match[str]) -> str:
            sign, figure, unit = found.groups()
            value = float(figure)
            if unit == STORED.mass:
                return self.weighing(value)
            if sign is None:
                return self.at(value)
            return self.signed(value if sign == "+" else -value)

        return text if self == STORED else WRITTEN.sub(put, text)


STORED = Scales()
