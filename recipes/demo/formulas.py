"""What the demo's recipes say, version by version. Common practice for espresso, no source."""

from decimal import Decimal

from stations.metrology.formula import Stated

Formula = dict[str, Stated]


def of(target: str, below: str | None = None, above: str | None = None) -> Stated:
    """A target with its tolerance; one width given counts for both sides."""
    width = Decimal(below) if below else None
    return Stated(Decimal(target), width, Decimal(above) if above else width)


DOUBLE: Formula = {
    "dose_mass": of("18.0", "0.2"),
    "beverage_mass": of("36.0", "2.0"),
    "shot_time": of("28", "3"),
    "water_volume": of("68", "1.5"),
    "brew_temperature": of("93.0", "0.5"),
    "preinfusion_time": of("4.0", "0.5"),
    "ends_by": Stated(text="volume"),
    "grind_note": Stated(text="Two marks finer than the house filter"),
    "basket": Stated(text="18 g, straight wall"),
}
SINGLE: Formula = {
    "dose_mass": of("9.0", "0.2"),
    "beverage_mass": of("20.0", "1.5"),
    "shot_time": of("24", "3"),
    "water_volume": of("36", "1.0"),
    "brew_temperature": of("92.5", "0.5"),
    "preinfusion_time": of("3.0", "0.5"),
    "ends_by": Stated(text="volume"),
    "basket": Stated(text="9 g, stepped"),
}
# Pre-infusion at line pressure, a rise, 7 then 9 bar, and the last 8 % of the water tapering off.
STAGED: Formula = {
    **DOUBLE,
    "beverage_mass": of("40.0", "2.0"),
    "shot_time": of("31", "3"),
    "water_volume": of("70", "1.5"),
    "brew_temperature": of("92.0", "0.5"),
    "preinfusion_pressure": of("3.0", "0.5"),
    "rise_time": of("2.0", "0.5"),
    "intermediate_pressure": of("7.0", "0.3"),
    "brew_pressure": of("9.0", "0.3"),
    "taper_start": of("92", "0.5"),
    "taper_pressure": of("6.0", "0.5"),
}
DECAF: Formula = {
    **DOUBLE,
    "dose_mass": of("18.5", "0.2"),
    "brew_temperature": of("91.0", "0.5"),
    "shot_time": of("26", "3"),
    "grind_note": Stated(text="Four marks finer; it runs fast"),
}

HOUSE_DOUBLE = (
    (DOUBLE, "Dialled in on the new crop at Harbour."),
    ({**DOUBLE, "brew_temperature": of("92.5", "0.5")}, "Sharp at the end of the cup; half a degree less."),
    ({**DOUBLE, "brew_temperature": of("92.5", "0.5"), "water_volume": of("70", "1.5"),
      "beverage_mass": of("38.0", "2.0")}, "A little longer, for sweetness."),
    ({**DOUBLE, "brew_temperature": of("92.0", "0.5"), "water_volume": of("70", "1.5"),
      "beverage_mass": of("38.0", "2.0"), "preinfusion_time": of("5.0", "3.0")},
     "Longer pre-infusion: fewer channels with the fresher lot."),
)  # fmt: skip
# Why what is unusual of them is meant so, by question.
REASONS = {
    "wide_preinfusion_time": "It ends at the first drop, which a fresh lot moves by seconds."
}
HOUSE_SINGLE = (
    (SINGLE, "Split basket shots were uneven; a single of its own."),
    ({**SINGLE, "dose_mass": of("9.5", "0.2")}, "More body at the same length."),
)
HILL_DOUBLE = (
    (STAGED, "Staged pressure keeps the fruit clear."),
    ({**STAGED, "intermediate_pressure": of("6.5", "0.3")}, "Gentler start."),
    ({**STAGED, "intermediate_pressure": of("6.5", "0.3"), "brew_temperature": of("91.5", "0.5")},
     "Half a degree less after the tasting."),
)  # fmt: skip
# The same coffee in stages, and what machines that know none are to do instead.
HOUSE_STAGED = ((STAGED, "In stages where the machine can, flat where it can't."),)
FLAT = DOUBLE
# What is in the cup, and no water volume: each station gets what yields it there.
DECAF_LONG = (
    ({**{code: each for code, each in DECAF.items() if code != "water_volume"},
      "beverage_mass": of("45.0", "3.0"), "shot_time": of("30", "4")},
     "The cup is what counts; the water is each station's own."),
)  # fmt: skip
DECAF_DOUBLE = (
    (DECAF, "First take on the washed decaf."),
    ({**DECAF, "shot_time": of("27", "3"), "water_volume": of("69", "1.5")}, "Was thin at 26 s."),
)
