"""Questions about a calibration's runs, and the answers they are recorded with.

An answer belongs to a question with its very readings: whoever corrects a run is asked anew.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from audit.errors import Invalid, Problem, shown
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import Runs, counting
from stations.equipment.bounds import scales_here
from stations.equipment.models import Station
from stations.metrology.flowmeter import Run
from stations.metrology.offset import Reading
from stations.metrology.offset_questions import ask_about_offset, ask_about_offset_figure
from stations.metrology.questions import Question, ask_about_flow, ask_about_slope
from stations.metrology.scales import STORED, Scales

FIELD = "answers"
LONGEST = 500  # characters of an answer


@dataclass(frozen=True, slots=True)
class Asked:
    """A question with the key that an answer names, and as whoever reads the page is asked it.

    The key and what is kept are in °C and g, whoever asks.
    """

    question: Question
    here: Question

    @property
    def key(self) -> str:
        """The same for the same readings only."""
        one = self.question
        text = "|".join([one.code, *map(str, one.runs), *one.values])
        return f"{one.code}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"

    @property
    def field(self) -> str:
        """Where its answer belongs."""
        return f"{FIELD}.{self.key}"

    @property
    def words(self) -> str:
        """The question in words."""
        return self.here.words

    @property
    def problem(self) -> Problem:
        """What is said where no answer was given."""
        return Problem(self.field, "", f"corrected runs, or why these stand. {self.words}")

    def kept(self, reason: str) -> dict[str, Any]:
        """As it stands beside the runs, answered."""
        one = self.question
        return {
            "code": one.code,
            "runs": list(one.runs),
            "values": list(one.values),
            "reason": reason,
        }


def ask(kind: str, runs: Runs, station: Station) -> list[Asked]:
    """What is odd about runs, as they are kept, beside what is in use at the station."""
    numbered = list(counting(runs).items())
    if kind == Calibration.Kind.TEMPERATURE:
        readings = [(at, Reading(*_numbers(run, "displayed", "measured"))) for at, run in numbered]
        boiling, used = station.machine.site.boiling_point, station.temperature_offset
        return _asked(lambda scales: ask_about_offset(readings, used, boiling, scales))
    names = ("pulses", "grams", "temperature")
    counted = [(at, Run(*_numbers(run, *names))) for at, run in numbered]
    slope = station.pulses_per_millilitre
    return _asked(lambda scales: ask_about_flow(counted, slope, scales))


def ask_about_figure(kind: str, value: Decimal, station: Station) -> list[Asked]:
    """What is odd about a figure that came without runs, beside what is in use at the station."""
    if kind == Calibration.Kind.TEMPERATURE:
        used = station.temperature_offset
        return _asked(lambda scales: ask_about_offset_figure(value, used, scales))
    return [Asked(one, one) for one in ask_about_slope(value, station.pulses_per_millilitre)]


def _asked(asking: Callable[[Scales], Sequence[Question]]) -> list[Asked]:
    pairs = zip(asking(STORED), asking(scales_here()), strict=True)
    return [Asked(question, here) for question, here in pairs]


def _numbers(run: Mapping[str, str], *names: str) -> list[Decimal]:
    return [Decimal(run[name]) for name in names]


def answered(asked: Sequence[Asked], answers: Mapping[str, str]) -> list[dict[str, Any]]:
    """Each question with its answer, to be kept. Raises Invalid naming those without one."""
    given = {key: str(text).strip() for key, text in answers.items()}
    missing = [one.problem for one in asked if not given.get(one.key)]
    missing += [
        Problem(one.field, shown(given[one.key]), f"at most {LONGEST} characters")
        for one in asked
        if len(given.get(one.key, "")) > LONGEST
    ]
    if missing:
        raise Invalid.of(missing)
    return [one.kept(given[one.key]) for one in asked]


def open_questions(calibration: Calibration) -> list[str]:
    """Questions, in words, that nobody answered when it was recorded."""
    told = {one["code"] for one in calibration.answers}
    kind, station = calibration.kind, calibration.station
    asked = (
        ask_about_figure(kind, calibration.value, station)
        if calibration.typed_because
        else ask(kind, calibration.runs, station)
    )
    return [one.words for one in asked if one.question.code not in told]


def in_words(answers: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """Each kept answer: what it is about, in the units of whoever reads, and the reason."""
    scales = scales_here()
    return [
        (f"{_question(one).where} ({scales.again('; '.join(one['values']))})", one["reason"])
        for one in answers
    ]


def _question(kept: Mapping[str, Any]) -> Question:
    return Question(kept["code"], tuple(kept["runs"]), tuple(kept["values"]), "", "")
