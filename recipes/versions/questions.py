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
from recipes.versions.complete import field_in, names_of
from recipes.versions.models import Answer, Version
from stations.equipment.models import Site
from stations.metrology.formula import DOSE, WATER
from web.checks import Checks

REASON = 500  # characters
PREFIX = "answer_"


@dataclass(frozen=True, slots=True)
class Question:
    """Something unusual, and the reason somebody gave for just these values; None while open.

    Of the variant for a machine type (id), if not of the whole formula.
    """

    kind: str
    words: str
    answer: Answer | None
    machine_type: int | None = None

    @property
    def key(self) -> str:
        """What an answer to it goes by."""
        return field_in(self.machine_type, self.kind)

    @property
    def field(self) -> str:
        """The name of its box on a form, and of a problem with it."""
        return PREFIX + self.key


Found = Mapping[int | None, Sequence[Doubt]]
"""What is unusual of the whole formula (None) and of the variant for each machine type (id)."""


def questions_about(version: Version, by: User) -> list[Question]:
    """What is unusual of a version now, by what was measured at the sites the person covers."""
    return with_answers(version, doubts_of(version, by))


def doubts_of(version: Version, by: User) -> Found:
    """What is unusual of it, part by part."""
    return beside_variants(version, _doubts(version.stated, by), by)


def beside_variants(version: Version, whole: Sequence[Doubt], by: User) -> Found:
    """What is unusual of the whole formula, and of the variant for each machine type."""
    found: dict[int | None, Sequence[Doubt]] = {None: whole}
    found.update((pk, _doubts(formula, by)) for pk, formula in version.variants.items())
    return found


def _doubts(formula: Formula, by: User) -> list[Doubt]:
    dose = formula.target(DOSE)
    if dose is None or formula.target(WATER) is None:
        return doubts(formula, None)
    sites = Site.objects.covered_by(by, Verb.RECIPE_VIEW).values_list("pk", flat=True)
    return doubts(formula, house_retention(dose, list(sites)))


def with_answers(version: Version, found: Found) -> list[Question]:
    """What is asked now, and every reason that was given for values that still stand: one query.

    One more where there are variants. A reason stays although what is measured since would not
    ask for it any more.
    """
    said = version.formulas
    given = {
        (answer.machine_type_id, answer.kind): answer
        for answer in version.answers.select_related("by")
        if _stands(answer, said.get(answer.machine_type_id))
    }
    names = names_of(pk for pk in said if pk is not None)
    return [
        *(Question(kind, answer.question, answer, pk) for (pk, kind), answer in given.items()),
        *(
            Question(each.kind, _headed(names.get(pk or 0), each.words), None, pk)
            for pk, here in found.items()
            for each in here
            if (pk, each.kind) not in given
        ),
    ]


def _headed(machine_type: str | None, words: str) -> str:
    return f"{machine_type}: {words}" if machine_type else words


def _stands(answer: Answer, formula: Formula | None) -> bool:
    """Whether the values that it is about are those of now."""
    if formula is None:
        return False
    about = {field: Decimal(number) for field, number in answer.about.items()}
    return all(stated_in(formula, field) == number for field, number in about.items())


def answer_questions(*, by: User, version: Version, answers: Mapping[str, str]) -> list[Answer]:
    """Keep the reasons given, by question; for `submit` only, inside its transaction.

    One that was given before for the same values stands. Raises Invalid naming each question
    without a reason, each reason too long, and what is no question about this version.
    """
    checks, made, unusual = Checks(), list[Answer](), doubts_of(version, by)
    found = {field_in(pk, each.kind): each for pk, here in unusual.items() for each in here}
    asked = {each.key: each for each in with_answers(version, unusual)}
    for key, each in asked.items():
        reason, doubt = answers.get(key, "").strip(), found.get(key)
        if doubt is None or (each.answer and reason in ("", each.answer.reason)):
            continue
        if not reason:
            checks.fault(each.field, None, f"a reason. {each.words}")
            continue
        text = checks.text(each.field, reason, most=REASON, lines=True)
        made.append(
            Answer(
                version=version, by=by, kind=each.kind, machine_type_id=each.machine_type,
                question=each.words, reason=text,
                about=doubt.about(version.stated_for(each.machine_type)),
            )
        )  # fmt: skip
    for key in sorted(answers.keys() - asked.keys()):
        words = f"a question about this version: {', '.join(sorted(asked)) or 'there is none'}"
        checks.fault(PREFIX + key, answers[key], words)
    checks.done()
    return Answer.objects.bulk_create(made)


def problems_beside(error: Invalid) -> list[Problem]:
    """What is wrong apart from questions."""
    return [each for each in error.problems if not each.field.startswith(PREFIX)]
