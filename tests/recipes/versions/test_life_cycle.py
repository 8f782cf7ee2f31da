"""Any sequence of actions, by anybody: the life of versions stays in order (state machine)."""

from dataclasses import dataclass, field
from typing import ClassVar

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    MultipleResults,
    RuleBasedStateMachine,
    initialize,
    invariant,
    multiple,
    rule,
    run_state_machine_as_test,
)

from audit.capture.models import Entry
from audit.errors import DomainError, NotPermitted
from people.persons.models import User
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula
from recipes.versions.complete import gaps
from recipes.versions.digest import content_digest
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from recipes.versions.review import approve, return_to_author, submit, withdraw
from tests.cast import Cast, credentials, third_roaster
from tests.recipes.shelf import FORMULA, make_recipe, number
from tests.services import rounds

PEOPLE = ["head", "second", "third", "lead"]
WHO = st.sampled_from(PEOPLE)
DOSES = st.sampled_from(["17.5", "18.0", "18.00", "18.5"])
State = Version.State


@dataclass
class Expected:
    """What the rules say a version must be."""

    author: str
    editor: str
    state: str = State.DRAFT
    formula: Formula = field(default_factory=Formula)


class VersionLife(RuleBasedStateMachine):
    """Four people do what they like with the versions of one recipe."""

    cast: ClassVar[Cast]
    people: ClassVar[dict[str, User]]
    count: ClassVar[int] = 0
    versions: Bundle[int] = Bundle("versions")

    def __init__(self) -> None:
        super().__init__()
        type(self).count += 1
        self.recipe: Recipe = make_recipe(self.cast, f"drink {self.count}")
        self.expected: dict[int, Expected] = {}
        self.first_line = Entry.objects.order_by("-pk").values_list("pk", flat=True)[0]

    @initialize(target=versions)
    def nothing(self) -> MultipleResults[int]:
        return multiple()

    @rule(target=versions, who=WHO)
    def begin(self, who: str) -> MultipleResults[int] | int:
        try:
            made = new_draft(by=self.people[who], recipe=self.recipe)
        except NotPermitted:
            assert who == "lead"
            return multiple()
        self.expected[made.pk] = Expected(who, who)
        return made.pk

    @rule(pk=versions, who=WHO, dose=DOSES, whole=st.booleans())
    def edit(self, pk: int, who: str, dose: str, whole: bool) -> None:
        wanted = (FORMULA if whole else Formula()) | {"dose_mass": number(dose)}
        now, model = Version.objects.get(pk=pk), self.expected[pk]
        allowed = who != "lead" and model.state == State.DRAFT
        if self.tried(
            allowed,
            lambda: edit_draft(
                by=self.people[who], version=now, revision=now.revision, values=wanted
            ),
        ):
            model.editor = model.editor if model.formula == wanted else who
            model.formula = wanted

    @rule(pk=versions, who=WHO)
    def submit(self, pk: int, who: str) -> None:
        model = self.expected[pk]
        allowed = who != "lead" and model.state == State.DRAFT and not gaps(model.formula)
        version = Version.objects.get(pk=pk)
        if self.tried(
            allowed, lambda: submit(by=self.people[who], version=version, revision=version.revision)
        ):
            model.state = State.IN_REVIEW

    @rule(pk=versions, who=WHO)
    def send_back(self, pk: int, who: str) -> None:
        model, version = self.expected[pk], Version.objects.get(pk=pk)
        allowed = who != "lead" and model.state == State.IN_REVIEW
        said = {"": "Again."}
        if self.tried(
            allowed,
            lambda: return_to_author(
                by=self.people[who], version=version, revision=version.revision, comments=said
            ),
        ):
            model.state = State.DRAFT

    @rule(pk=versions, who=WHO)
    def approve(self, pk: int, who: str) -> None:
        model, version = self.expected[pk], Version.objects.get(pk=pk)
        later = [p for p in self.expected if p > pk]
        newer = any(self.expected[p].state in {State.APPROVED, State.SUPERSEDED} for p in later)
        newer = newer or Version.objects.filter(pk__in=later, signature__isnull=False).exists()
        allowed = (
            who != "lead"
            and model.state == State.IN_REVIEW
            and who not in {model.author, model.editor}
            and not newer
        )
        seen = version.content_digest
        by, signing = self.people[who], credentials(self.people[who])
        if self.tried(
            allowed,
            lambda: approve(by=by, version=version, credentials=signing, seen=seen),
        ):
            for other in self.expected.values():
                other.state = State.SUPERSEDED if other.state == State.APPROVED else other.state
            model.state = State.APPROVED

    @rule(pk=versions, who=WHO)
    def withdraw(self, pk: int, who: str) -> None:
        model, version = self.expected[pk], Version.objects.get(pk=pk)
        allowed = who != "lead" and model.state not in {State.SUPERSEDED, State.WITHDRAWN}
        if self.tried(
            allowed,
            lambda: withdraw(
                by=self.people[who], version=version, revision=version.revision, reason="x"
            ),
        ):
            model.state = State.WITHDRAWN

    def tried(self, allowed: bool, act: object) -> bool:
        """Run it; it must work exactly when the rules allow it."""
        try:
            act()  # type: ignore[operator]
        except DomainError as told:
            assert not allowed, told.message  # noqa: PT017 - either outcome may be right
            return False
        assert allowed
        return True

    @invariant()
    def the_database_agrees(self) -> None:
        rows = list(self.recipe.versions.with_recipe().with_formula())
        assert {row.pk: row.state for row in rows} == {
            pk: model.state for pk, model in self.expected.items()
        }
        assert sorted(row.number for row in rows) == list(range(1, len(rows) + 1))
        for row in rows:
            assert row.stated == self.expected[row.pk].formula
            if row.signature:
                assert row.signature.digest == row.content_digest == content_digest(row)
                assert row.signature.user_id not in {row.author_id, row.last_editor_id}

    @invariant()
    def one_version_is_approved_at_most(self) -> None:
        assert self.recipe.versions.filter(state=State.APPROVED).count() <= 1

    @invariant()
    def every_step_is_in_the_history(self) -> None:
        lines = Entry.objects.filter(pk__gt=self.first_line, table_name="recipes_version")
        last = {
            line.row_id: line.changes["state"][1]
            for line in lines.order_by("pk")
            if "state" in line.changes
        }
        assert last == {pk: model.state for pk, model in self.expected.items()}


@pytest.mark.django_db
def test_the_life_of_versions(cast: Cast) -> None:
    VersionLife.cast = cast
    VersionLife.people = {
        "head": cast.head_roaster,
        "second": cast.second_roaster,
        "third": third_roaster(cast),
        "lead": cast.shop_lead,
    }
    run_state_machine_as_test(
        VersionLife,
        settings=settings(
            max_examples=rounds(100, 12),
            stateful_step_count=30,
            suppress_health_check=list(HealthCheck),
        ),
    )
