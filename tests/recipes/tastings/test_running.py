"""A tasting from plan to evidence, and everything that would let somebody cheat."""

from decimal import Decimal

import pytest
from django.db import connection
from django.db.utils import Error as DatabaseError

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from recipes.requests.actions import make_request
from recipes.tastings.actions import attach, lock_answers, open_key, record_answers
from recipes.tastings.models import Tasting, TastingAnswer
from recipes.tastings.result import chosen_sample, evidence_of, result_of, session
from recipes.versions.models import Version
from tests.cast import Cast
from tests.recipes.shelf import number
from tests.recipes.tastings.panel import opened, plan, right_answers


def test_eight_of_twelve_show_a_difference(cast: Cast) -> None:
    # ISO 4120 table of critical numbers, n = 12 at 5 %: 8 (from memory); p exact 0.0188
    # = sum of C(12, k) 2^(12-k) / 3^12 for k from 8, by hand.
    found = result_of(opened(cast, 8))
    assert (found.counted, found.needed, found.shown) == (8, 8, True)
    assert found.p == Decimal("0.0188")
    assert "a difference is shown" in found.sentence


def test_seven_of_twelve_show_none_and_prove_nothing(cast: Cast) -> None:
    found = result_of(opened(cast, 7))
    assert not found.shown
    assert "nor that there is none" in found.sentence


def test_a_preference_counts_the_second_sample(cast: Cast) -> None:
    tasting = plan(cast, "paired, two-sided", 10)
    wanted = {
        s.number: next(c for c in s.codes if chosen_sample(s, c) == "B") for s in session(tasting)
    }
    tasting = record_answers(
        tasting=tasting, revision=tasting.revision, answers=wanted, by=cast.shop_lead
    )
    tasting = lock_answers(tasting=tasting, revision=tasting.revision, by=cast.shop_lead)
    found = result_of(open_key(tasting=tasting, revision=tasting.revision, by=cast.shop_lead))
    # 2 / 2^10
    assert (found.counted, found.p) == (10, Decimal("0.0020"))
    assert "preferred 94.0 °C" in found.sentence


def test_the_key_stays_closed_until_the_answers_are_locked(cast: Cast) -> None:
    tasting = plan(cast)
    with pytest.raises(Refused, match="once the answers are locked"):
        open_key(tasting=tasting, revision=tasting.revision, by=cast.shop_lead)
    with pytest.raises(Refused, match="no answer"):
        lock_answers(tasting=tasting, revision=tasting.revision, by=cast.shop_lead)


def test_locked_answers_stay_by_every_road(cast: Cast) -> None:
    tasting = opened(cast, 8)
    with pytest.raises(Refused, match="locked"):
        record_answers(
            tasting=tasting, revision=tasting.revision, answers={1: ""}, by=cast.shop_lead
        )
    assert Entry.objects.filter(operation="refused", subject_type="tasting").count() == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE recipes_tastinganswer SET chosen = '999'",
        "DELETE FROM recipes_tastinganswer",
        "UPDATE recipes_tasting SET state = 'planned', locked_at = NULL, opened_at = NULL",
        "UPDATE recipes_tasting SET seed = 'another'",
        "UPDATE recipes_tasting SET risk = 0.2",
        "DELETE FROM recipes_tasting",
        "TRUNCATE recipes_tastinganswer",
    ],
)
def test_the_database_keeps_it_too(cast: Cast, statement: str) -> None:
    opened(cast, 8)
    with pytest.raises(DatabaseError), connection.cursor() as cursor:
        cursor.execute(statement)


def test_answers_are_cups_of_that_serving(cast: Cast) -> None:
    tasting = plan(cast)
    with pytest.raises(Invalid, match="answer_1"):
        record_answers(
            tasting=tasting, revision=tasting.revision, answers={1: "000"}, by=cast.shop_lead
        )
    assert not TastingAnswer.objects.exists()


def test_only_leads_of_that_site_run_it(cast: Cast) -> None:
    tasting = plan(cast)
    for person in (cast.other_lead, cast.barista, cast.technician, cast.owner):
        with pytest.raises(NotPermitted):
            record_answers(tasting=tasting, revision=tasting.revision, answers={}, by=person)


def test_it_becomes_evidence_of_a_request_once(cast: Cast, approved: Version) -> None:
    asked = make_request(
        by=cast.shop_lead, base=approved, site=cast.site, reason="Sour in the cup.",
        proposals={"brew_temperature": number("94", "0.5", "0.5")},
    )  # fmt: skip
    shown = opened(cast, 9)
    tasting = attach(by=cast.shop_lead, tasting=shown, revision=shown.revision, request=asked)
    assert [one.tasting.pk for one in evidence_of(asked)] == [tasting.pk]
    with pytest.raises(Refused, match="one request or one draft"):
        attach(tasting=tasting, revision=tasting.revision, request=asked, by=cast.shop_lead)
    with pytest.raises(DatabaseError):
        Tasting.objects.filter(pk=tasting.pk).update(for_request=None)


def test_a_plan_alone_is_no_evidence(cast: Cast, draft: Version) -> None:
    planned = plan(cast)
    with pytest.raises(Refused, match="only an opened"):
        attach(by=cast.shop_lead, tasting=planned, revision=planned.revision, version=draft)


def test_an_answer_can_be_taken_away_before_the_lock(cast: Cast) -> None:
    tasting = plan(cast)
    tasting = record_answers(
        tasting=tasting,
        revision=tasting.revision,
        answers=right_answers(tasting, 12),
        by=cast.shop_lead,
    )
    tasting = record_answers(
        tasting=tasting, revision=tasting.revision, answers={3: ""}, by=cast.shop_lead
    )
    assert tasting.answers.count() == 11
