"""What can be chosen, and what it means to pages."""

from django.db.models import TextChoices

from web.units import CELSIUS, FAHRENHEIT, GRAM, OUNCE, Choice


class Temperatures(TextChoices):
    """How temperatures are shown to somebody."""

    CELSIUS = "Cel", "°C: 93.0 °C"
    FAHRENHEIT = "[degF]", "°F alone: 199.4 °F"
    BOTH = "both", "Both: 93.0 °C (199.4 °F)"


class Masses(TextChoices):
    """How dose, yield and weighed water are shown to somebody."""

    GRAM = "g", "g: 18.0 g"
    OUNCE = "[oz_av]", "oz alone: 0.635 oz"
    BOTH = "both", "Both: 18.0 g (0.635 oz)"


def choice_of(temperatures: str, masses: str) -> Choice:
    """The same as pages ask for it."""
    return Choice(
        temperature=CELSIUS if temperatures == Temperatures.CELSIUS else FAHRENHEIT,
        mass=GRAM if masses == Masses.GRAM else OUNCE,
        temperature_beside=temperatures == Temperatures.BOTH,
        mass_beside=masses == Masses.BOTH,
    )
