"""Which witnesses are needed, and how many: signed with the policy, whatever the settings say."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from pytest_django import Settings

from audit.alarms import alarms
from audit.errors import Invalid, NotPermitted
from audit.exporting.bundle import bundle
from audit.ledger.bundle.asked import Rule
from audit.ledger.bundle.check import verify
from audit.ledger.errors import LedgerError
from audit.ledger.witness.known import KnownWitness
from audit.sealing.seal import seal
from audit.witnessing.models import Cosignature
from audit.witnessing.standing import witnessing_now
from people.persons.models import User
from people.policy.actions import set_policy
from people.policy.models import Policy
from people.policy.witness_rule import rule_in_force, wanted
from people.signatures.whole import check_whole
from tests.audit.ledger.witness.logs import SECOND, WITNESS
from tests.audit.sealed import last_checkpoint
from tests.cast import PASSWORD, ApiAs, Cast, InPerson, SignedIn, credentials

ONE, TWO = WITNESS.verifier, SECOND.verifier
URL = "http://127.0.0.1:9"


@pytest.fixture(autouse=True)
def two_known(settings: Settings, tmp_path: Path) -> None:
    """Two witnesses, one of which has to see it by the settings."""
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    settings.LEDGER_WITNESSES = [KnownWitness(ONE, URL), KnownWitness(TWO, URL)]
    settings.LEDGER_WITNESSES_NEEDED = 1


def ask_for(by: User, keys: list[str], needed: int) -> Policy:
    """Somebody signs a policy that asks for so many of these."""
    return set_policy(
        by=by, revision=Policy.current().revision, sole_roaster=False, boiling="refuse",
        credentials=credentials(by), witnesses=keys, witnesses_needed=needed,
    )  # fmt: skip


def seen_by_one() -> int:
    """All of it sealed, and the first witness cosigned that; how many entries."""
    while seal():
        pass
    newest = last_checkpoint()
    Cosignature.objects.create(
        checkpoint_id=newest.pk, size=newest.size, witness=ONE.text,
        at=datetime.fromtimestamp(1_800_000_000, UTC),
        line=WITNESS.cosign(newest.note.partition("\n\n")[0] + "\n", 1_800_000_000),
    )  # fmt: skip
    return newest.size


def test_an_owner_signs_for_it(cast: Cast) -> None:
    policy = ask_for(cast.owner, [TWO.text, ONE.text], 2)
    assert rule_in_force() == Rule(2, tuple(sorted((ONE, TWO), key=lambda key: key.text)))
    assert policy.signature
    assert check_whole(policy.signature).same is True
    with pytest.raises(NotPermitted):
        ask_for(cast.head_roaster, [], 0)
    set_policy(  # not named, it stays
        by=cast.owner, revision=2, sole_roaster=True, boiling="refuse",
        credentials=credentials(cast.owner),
    )  # fmt: skip
    assert rule_in_force()
    ask_for(cast.owner, [], 0)
    assert rule_in_force() is None


@pytest.mark.parametrize(
    ("keys", "needed", "field"),
    [
        (["nobody+00000000+AAAA"], 1, "witnesses"),
        ([ONE.text], 2, "witnesses_needed"),
        ([ONE.text], 0, "witnesses_needed"),
        ([], 1, "witnesses_needed"),
    ],
)
def test_what_can_not_be_asked_is_named(
    cast: Cast, keys: list[str], needed: int, field: str
) -> None:
    with pytest.raises(Invalid) as refused:
        ask_for(cast.owner, keys, needed)
    assert refused.value.field == field


def test_what_is_not_given_stays(cast: Cast) -> None:
    """Each of the two by itself: whoever changes the number alone does not take the names away."""
    ask_for(cast.owner, [ONE.text, TWO.text], 2)
    policy = Policy.current()
    both = policy.witnesses
    assert wanted(policy, None, 1) == (both, 1)
    assert wanted(policy, [ONE.text, TWO.text], None) == (both, 2)
    for keys, needed in (([ONE.text], None), (None, 0)):
        with pytest.raises(Invalid, match="from 1 to the"):
            wanted(policy, keys, needed)


def test_the_database_keeps_the_two_together(cast: Cast) -> None:
    ask_for(cast.owner, [ONE.text], 1)
    for half in ("witnesses = ''", "witnesses_needed = 0"):
        with (
            pytest.raises(IntegrityError),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(f"UPDATE people_policy SET {half}")


def test_changed_by_sql_it_shows(cast: Cast) -> None:
    policy = ask_for(cast.owner, [ONE.text, TWO.text], 2)
    Policy.objects.update(witnesses_needed=1)
    assert policy.signature
    assert "which witnesses are needed" in check_whole(policy.signature).words


def test_settings_that_ask_for_less_change_nothing(cast: Cast, settings: Settings) -> None:
    ask_for(cast.owner, [ONE.text, TWO.text], 2)
    size = seen_by_one()
    settings.LEDGER_WITNESS_LATE = 0
    now = witnessing_now()
    assert now
    assert now.size == 0, "seen by one, as the settings ask, and by two nothing"
    assert any("2 of" in one.words and "as the policy asks" in one.words for one in alarms())
    settings.LEDGER_WITNESSES = settings.LEDGER_WITNESSES[:1]
    now = witnessing_now()
    assert now
    assert (now.size, len(now.standings)) == (0, 2), "taken out of the settings, still asked for"
    settings.LEDGER_WITNESSES, settings.LEDGER_WITNESSES_NEEDED = [], 0
    assert witnessing_now() is not None
    Policy.objects.update(witnesses=ONE.text, witnesses_needed=1)
    now = witnessing_now()
    assert now
    assert now.size == size


def test_the_settings_stay_the_floor(cast: Cast, settings: Settings) -> None:
    ask_for(cast.owner, [ONE.text], 1)
    settings.LEDGER_WITNESSES_NEEDED = 2
    seen_by_one()
    now = witnessing_now()
    assert now
    assert now.size == 0


def test_the_offline_check_takes_it_from_the_history(cast: Cast) -> None:
    seen_by_one()
    assert "policy" not in next(verify(bundle()).lines())
    ask_for(cast.owner, [ONE.text, TWO.text], 2)
    seen_by_one()
    report = verify(bundle())
    assert (report.intact, report.unseen) == (True, True)
    assert "As its policy asks: NOT seen by 2 of 2 witnesses: 1 " in next(report.lines())
    Policy.objects.update(witnesses_needed=1)  # which nobody signed
    seen_by_one()
    assert verify(bundle()).unseen
    Policy.objects.update(witnesses_needed=2)
    ask_for(cast.owner, [ONE.text, TWO.text], 1)
    size = seen_by_one()
    report = verify(bundle())
    assert not report.unseen
    assert f"As its policy asks: Seen by 1 of 2 witnesses up to entry no. {size:,}" in next(
        report.lines()
    )
    given = verify(bundle(), witnesses=[TWO])
    assert given.unseen, "what the reader asks for counts beside it"


def test_a_rule_that_can_not_be_read() -> None:
    for keys, needed in ((ONE.text, 2), (ONE.text, 0), (f"{ONE.text}\n{ONE.text}", 1), ("x", 1)):
        with pytest.raises(LedgerError):
            Rule.read(keys, needed)
    assert Rule.read("", 0) is None


def test_on_the_page(cast: Cast, signed_in: SignedIn, settings: Settings) -> None:
    browser: Client = signed_in(cast.owner)
    typed = {"boiling": "refuse", "revision": "1", "witnesses": [ONE.text, TWO.text],
             "witnesses_needed": "2", "email": cast.owner.email, "password": PASSWORD}  # fmt: skip
    wrong = browser.post("/policy/", typed | {"witnesses": [ONE.text]})
    assert wrong.status_code == 400
    page = browser.post("/policy/", typed, follow=True).content.decode()
    assert f"2 of {', '.join(sorted((ONE.name, TWO.name)))}, beside what the settings ask" in page
    assert page.count(" checked") >= 3
    assert "(optional)" not in page
    settings.LEDGER_WITNESSES = []
    assert 'name="witnesses"' in browser.get("/policy/").content.decode()
    Policy.objects.update(witnesses="", witnesses_needed=0)
    assert 'name="witnesses"' not in browser.get("/policy/").content.decode()


def test_by_the_api(cast: Cast, api_in_person: InPerson, api_as: ApiAs) -> None:
    program = api_in_person(cast.owner)
    at = program.get("/api/v1/policy/")
    assert (at.json()["witnesses"], at.json()["witnesses_needed"]) == ([], 0)
    body = {"sole_roaster": False, "boiling": "refuse", "witnesses": [ONE.text],
            "witnesses_needed": 1, "email": cast.owner.email, "password": PASSWORD}  # fmt: skip
    seen = {"If-Match": at.headers["ETag"]}
    answer = program.put("/api/v1/policy/", body, format="json", headers=seen)
    assert answer.json()["witnesses"] == [ONE.text], answer.json()
    assert api_as(cast.owner).put("/api/v1/policy/", body, format="json").status_code == 403
