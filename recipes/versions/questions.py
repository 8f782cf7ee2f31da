"""Questions about what is unusual of a version, and the reasons: both stay with its review."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from audit.errors import Invalid, Problem
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.formula.doubts import Doubt, doubts, stated_in
from recipes.formula.formula import Formula
from recipes.retention.learning import house_retention
from recipes.versions.models import Answer, Version
from stations.equipment.models import Site
from stations.metrology.formula import DOSE, WATER
from web.checks import Checks

REASON = 500  # characters
PREFIX = "answer_"


@dataclass(frozen=True, slots=True)
class Question:
    """Something unusual, and the reason somebody gave for just these values; None while open."""

    kind: str
    words: str
    answer: Answer | None

    @property
    def field(self) -> str:
        """The name of its box on a form, and of a problem with it."""
        return PREFIX + self.kind


def questions_about(version: Version, by: User) -> list[Question]:
    """What is unusual of a version now, by what was measured at the sites the person covers."""
    return with_answers(version, _doubts(version.stated, by))


def _doubts(formula: Formula, by: User) -> list[Doubt]:
    dose = formula.target(DOSE)
    if dose is None or formula.target(WATER) is None:
        return doubts(formula, None)
    sites = Site.objects.covered_by(by, Verb.RECIPE_VIEW).values_list("pk", flat=True)
    return doubts(formula, house_retention(dose, list(sites)))


def with_answers(version: Version, found: Sequence[Doubt]) -> list[Question]:
    """What is asked now, and every reason that was given for values that still stand: one query.

    A reason stays although what is measured since would not ask for it any more.
    """
    formula = version.stated
    given = {
        answer.kind: answer
        for answer in version.answers.select_related("by")
        if _stands(answer, formula)
    }
    still_open = [each for each in found if each.kind not in given]
    return [
        *(Question(kind, answer.question, answer) for kind, answer in given.items()),
        *(Question(each.kind, each.words, None) for each in still_open),
    ]


def _stands(answer: Answer, formula: Formula) -> bool:
    """Whether the values that it is about are those of now."""
    about = {field: Decimal(number) for field, number in answer.about.items()}
    return all(stated_in(formula, field) == number for field, number in about.items())


def answer_questions(*, by: User, version: Version, answers: Mapping[str, str]) -> list[Answer]:
    """Keep the reasons given, by question; for `submit` only, inside its transaction.

    One that was given before for the same values stands. Raises Invalid naming each question
    without a reason, each reason too long, and what is no question about this version.
    """
    checks, made, formula = Checks(), list[Answer](), version.stated
    found = {each.kind: each for each in _doubts(formula, by)}
    asked = {each.kind: each for each in with_answers(version, list(found.values()))}
    for kind, each in asked.items():
        reason, doubt = answers.get(kind, "").strip(), found.get(kind)
        if doubt is None or (each.answer and reason in ("", each.answer.reason)):
            continue
        if not reason:
            checks.fault(each.field, None, f"a reason. {each.words}")
            continue
        text = checks.text(each.field, reason, most=REASON, lines=True)
        made.append(
            Answer(
                version=version, by=by, kind=kind, question=doubt.words,
                about=doubt.about(formula), reason=text,
            )
        )  # fmt: skip
    for kind in sorted(answers.keys() - asked.keys()):
        words = f"a question about this version: {', '.join(sorted(asked)) or 'there is none'}"
        checks.fault(PREFIX + kind, answers[kind], words)
    checks.done()
    return Answer.objects.bulk_create(made)


def problems_beside(error: Invalid) -> list[Problem]:
    """What is wrong apart from questions."""
    return [each for each in error.problems if not each.field.startswith(PREFIX)]
