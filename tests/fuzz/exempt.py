"""Public functions that no stranger's value reaches, each with what stands before it."""

CHECKED = "takes what translate and translate_many have checked (fuzzed there)"
COLUMNS = "column form of a function that is fuzzed; held to it by a property test"
ENGINE = "a part of the simulated shot: its setup has checked itself (fuzzed as simulate)"
WORDS = "words for values already checked"

EXEMPT = {
    "metrology.boiling.": CHECKED,
    "metrology.rules.": CHECKED,
    "metrology.formula.require_stated": CHECKED,
    "metrology.budget.holds": CHECKED,
    "metrology.budget.volume_expanded": CHECKED,
    "metrology.budget.temperature_expanded": CHECKED,
    "metrology.columns.": COLUMNS,
    "metrology.causes.": "takes traces that their published schema has bounded",
    "metrology.self_starting.Reference.": "how many columns the program itself puts in",
    "metrology.self_starting.follow": "takes what score and rank_score gave (fuzzed)",
    "brewing.balances.": COLUMNS,
    "metrology.refusals.": WORDS,
    "metrology.translation.params": WORDS,
    "metrology.sentences.": WORDS,
    "metrology.scales.": WORDS,
    "metrology.equality.Bars.": "tests already made, by their conclusion",
    "metrology.numbers.nearest_multiple": "to_resolution without its checks, for values checked",
    "brewing.shot_model.engine.": ENGINE,
    "brewing.shot_model.puck.Pools.": ENGINE,
    "brewing.shot_model.puck.Bed.": ENGINE,
    "brewing.shot_model.puck.Source.": ENGINE,
    "brewing.shot_model.reading.": ENGINE,
    "brewing.pressure_plan.Schedule.": "pressure without its checks, for a plan asked often",
    "brewing.shot_model.fit.Fit.applied": "sets parameters of a setup, which checks itself",
}


def exempt(name: str) -> str:
    """Why a function has no row; empty if it needs one."""
    return next((why for start, why in EXEMPT.items() if name.startswith(start)), "")
