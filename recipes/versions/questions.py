"""Questions about what is unusual of a version, and the reasons: both stay with its review."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from audit.errors import Invalid, Problem
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.formula.doubts import Doubt, doubts
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

    doubt: Doubt
    answer: Answer | None

    @property
    def kind(self) -> str:
        """Its lasting name."""
        return self.doubt.kind

    @property
    def field(self) -> str:
        """The name of its box on a form, and of a problem with it."""
        return PREFIX + self.doubt.kind


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
    """Each with its newest answer, where that was given for the same values: one query."""
    formula = version.stated
    given = {answer.kind: answer for answer in version.answers.select_related("by")}
    about = {each.kind: each.about(formula) for each in found}
    return [
        Question(each, answer if answer and answer.about == about[each.kind] else None)
        for each in found
        for answer in [given.get(each.kind)]
    ]


def answer_questions(*, by: User, version: Version, answers: Mapping[str, str]) -> list[Answer]:
    """Keep the reasons given, by question; for `submit` only, inside its transaction.

    One that was given before for the same values stands. Raises Invalid naming each question
    without a reason, each reason too long, and what is no question about this version.
    """
    checks, formula, made = Checks(), version.stated, list[Answer]()
    asked = questions_about(version, by)
    for each in asked:
        reason = answers.get(each.kind, "").strip()
        if each.answer and reason in ("", each.answer.reason):
            continue
        if reason:
            reason = checks.text(each.field, reason, most=REASON, lines=True)
            about = each.doubt.about(formula)
            made.append(Answer(version=version, by=by, kind=each.kind, about=about, reason=reason))
        else:
            checks.fault(each.field, None, f"a reason. {each.doubt.words}")
    known = {each.kind for each in asked}
    for kind in sorted(answers.keys() - known):
        words = f"a question about this version: {', '.join(sorted(known)) or 'there is none'}"
        checks.fault(PREFIX + kind, answers[kind], words)
    checks.done()
    return Answer.objects.bulk_create(made)


def problems_beside(error: Invalid) -> list[Problem]:
    """What is wrong apart from questions."""
    return [each for each in error.problems if not each.field.startswith(PREFIX)]
