"""Signing with a passkey: asked for just this, answered once, refused in every other case."""

import pytest
from allauth.mfa.models import Authenticator
from django.db import IntegrityError, connection, transaction

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import OneMoreStep, Refused
from people.passkeys.asking import ASKED
from people.passkeys.models import Assertion, KeyEvent
from people.persons.verbs import Role
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Manner, Meaning, Signature
from people.signatures.whole import check_whole, shown
from tests.cast import Cast
from tests.people.passkeys.conftest import Ask, Session, Sign
from tests.people.passkeys.device import Device


def test_the_passkey_is_asked_then_signs(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    options = ask()
    assert (options["rpId"], options["userVerification"]) == ("localhost", "required")
    assert not Signature.objects.exists()
    made = approve(session.dialog(device.answer_to(options)))
    made.refresh_from_db()
    assert made.manner == Manner.PASSKEY
    assert made.assertion is not None
    assert made.assertion.counter == 1
    assert shown(made).manner == "With passkey “Phone”, verified"
    assert shown(made).proven is True


WRONG: dict[str, tuple[dict[str, object], str]] = {
    "another page's address": ({"origin": "https://localhost.example.com"}, "another address"),
    "plain http": ({"origin": "http://bars.example.com"}, "another address"),
    "another house": ({"house": "example.com"}, "another house"),
    "nobody was asked who they are": ({"flags": 0x01}, "did not ask who was there"),
    "nobody touched it": ({"flags": 0x04}, "did not ask who was there"),
    "registering instead": ({"kind": "webauthn.create"}, "no answer to a question of ours"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_an_answer_given_otherwise_signs_nothing(
    session: Session, device: Device, ask: Ask, approve: Sign, wrong: str
) -> None:
    other, why = WRONG[wrong]
    with pytest.raises(Refused, match=why):
        approve(session.dialog(device.answer_to(ask(), **other)))
    assert not Signature.objects.exists()
    assert not Assertion.objects.exists()


def test_an_answer_to_another_challenge_signs_nothing(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    ask()
    with pytest.raises(Refused, match="another question"):
        approve(session.dialog(device.answer(b"x" * 32)))


def test_what_moved_since_is_asked_for_anew(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    answer = device.answer_to(ask())
    for other in (
        {"digest": "ab" * 32}, {"subject_id": 8}, {"meaning": Meaning.PUBLISHED}, {"note": "x"},
    ):  # fmt: skip
        with pytest.raises(OneMoreStep):
            approve(session.dialog(answer), **other)
    assert not Signature.objects.exists()


def test_another_persons_passkey_signs_nothing(
    cast: Cast, session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    other = Device()
    other.of(cast.second_roaster)
    with pytest.raises(Refused, match="none of the passkeys you have"):
        approve(session.dialog(other.answer_to(ask())))


def test_a_passkey_that_claims_anothers_name_signs_nothing(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    """The credential's id is public: it is the key that counts."""
    posing = Device(credential=device.credential)
    with pytest.raises(Refused, match="did not sign this"):
        approve(session.dialog(posing.answer_to(ask())))


def test_a_removed_passkey_signs_nothing(
    cast: Cast, session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    options = ask()
    with recorded(by=cast.head_roaster, action=OWN_ACCOUNT):
        Authenticator.objects.filter(user=cast.head_roaster).delete()
    with pytest.raises(Refused, match="none of the passkeys you have"):
        approve(session.dialog(device.answer_to(options)))


def test_an_answer_counts_once(session: Session, device: Device, ask: Ask, approve: Sign) -> None:
    answer = device.answer_to(ask())
    asked = dict(session.kept)
    assert approve(session.dialog(answer)).pk
    assert ASKED not in session.kept
    with pytest.raises(OneMoreStep):  # the session has forgotten that it asked
        approve(session.dialog(answer))
    session.kept = asked  # as a copy of the session would have it
    with pytest.raises(Refused, match="used before"):
        approve(session.dialog(answer))
    assert Signature.objects.count() == 1


def test_a_counter_that_went_back_signs_nothing(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    assert approve(session.dialog(device.answer_to(ask()))).pk
    device.counter = 0
    with pytest.raises(Refused, match="counter went back"):
        approve(session.dialog(device.answer_to(ask())))


def test_rubbish_instead_of_an_answer_is_told(
    session: Session, device: Device, ask: Ask, approve: Sign
) -> None:
    for rubbish in (
        "{}",
        "[]",
        "null",
        "7",
        '{"response": 3}',
        "é",
        '{"response": {"signature": "!"}}',
    ):
        ask()
        with pytest.raises(Refused, match="can't be read"):
            approve(session.dialog(rubbish))


# Whatever a database is made to say.


def forced(*statements: str) -> None:
    """SQL of somebody who can switch triggers off."""
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        for statement in statements:
            cursor.execute(statement)
        cursor.execute("SET session_replication_role = DEFAULT")


def after(signature: Signature) -> str:
    """What a page says of it now."""
    return shown(Signature.objects.get(pk=signature.pk)).manner


ALTERED = {
    "digest": ("UPDATE people_signature SET digest = repeat('ab', 32)", "another digest"),
    "meaning": ("UPDATE people_signature SET meaning = 'published'", "another meaning"),
    "subject": ("UPDATE people_signature SET subject_id = 8", "another subject id"),
    "name": ("UPDATE people_signature SET name = 'Somebody'", "another name"),
    "role": ("UPDATE people_signature SET role = 'owner'", "another role"),
    "note": ("UPDATE people_signature SET note = 'sole-roaster policy'", "another note"),
    "time": ("UPDATE people_signature SET at = at - interval '1 hour'", "within ten minutes"),
    "statement": ("UPDATE people_assertion SET statement = statement || ' '", "canonical form"),
    "answer": ("UPDATE people_assertion SET authenticator_data = 'AAAA'", "can't be read"),
    "client data": ("UPDATE people_assertion SET client_data = 'e30'", "can't be read"),
    "key's owner": (
        "UPDATE people_keyevent SET user_id = (SELECT max(id) FROM people_user)", "somebody else's"
    ),
    "key's beginning": ("UPDATE people_keyevent SET at = at + interval '1 day'", "not known yet"),
}  # fmt: skip


@pytest.mark.parametrize("what", ALTERED)
def test_whatever_is_altered_shows(signed: Signature, what: str) -> None:
    statement, why = ALTERED[what]
    forced(statement)
    assert "NOT verified" in after(signed)
    assert why in after(signed)
    assert check_whole(Signature.objects.get(pk=signed.pk)).same is False


def test_a_key_put_in_the_place_of_the_signers_shows(signed: Signature) -> None:
    other = Device()
    there = other.registered()["response"]["attestationObject"]
    forced(f"UPDATE people_keyevent SET attestation = '{there}'")
    assert "did not sign this" in after(signed)


def test_a_key_removed_later_still_verifies(cast: Cast, signed: Signature) -> None:
    with recorded(by=cast.head_roaster, action=OWN_ACCOUNT):
        Authenticator.objects.filter(user=cast.head_roaster).delete()
    assert KeyEvent.objects.filter(event="removed").exists()
    assert after(signed) == "With passkey “Phone”, verified"


def test_a_key_renamed_later_keeps_the_name_it_had(cast: Cast, signed: Signature) -> None:
    with recorded(by=cast.head_roaster, action=OWN_ACCOUNT):
        factor = Authenticator.objects.get(user=cast.head_roaster)
        factor.data = factor.data | {"name": "Old phone"}
        factor.save()
    assert KeyEvent.objects.filter(event="renamed", label="Old phone").exists()
    assert after(signed) == "With passkey “Phone”, verified"


COPY = """
INSERT INTO people_assertion (key_id, statement, challenge, authenticator_data, client_data,
    signature, counter)
SELECT key_id, {0}, encode(sha256(convert_to({0}, 'UTF8')), 'hex'), authenticator_data, client_data,
    signature, counter + 1 FROM people_assertion
"""
FORGED = """
INSERT INTO people_signature (user_id, name, role, meaning, digest, subject_type, subject_id, note,
    manner, assertion_id)
SELECT user_id, name, role, meaning, digest, subject_type, 8, note, 'passkey', {}
FROM people_signature
"""


def test_sql_without_the_private_key_is_found(signed: Signature) -> None:
    """Everything the database asks for can be made up, but for the passkey's own signature."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(COPY.format("""replace(statement, '"subject_id":7', '"subject_id":8')"""))
        cursor.execute(FORGED.format("(SELECT max(id) FROM people_assertion)"))
    forged = Signature.objects.get(subject_id=8)
    assert check_whole(forged).same is False
    assert "answered another question" in after(forged)
    assert Entry.objects.filter(table_name="people_signature", row_id=forged.pk, actor="database")


def run(statement: str) -> None:
    """By whatever way there is to SQL."""
    with connection.cursor() as cursor:
        cursor.execute(statement)


REFUSED = {
    "by passkey without an answer": (FORGED.format("NULL"), "has_its_answer"),
    "the same answer twice": (
        FORGED.format("assertion_id").replace(" 8,", " 7,"), "assertion_id_key|unique"
    ),
    "the answer to something else": (
        FORGED.format("assertion_id"), "needs an answer of the signer's own passkey"
    ),
    "an answer under another challenge": (
        "INSERT INTO people_assertion (key_id, statement, challenge, authenticator_data,"
        " client_data, signature, counter) SELECT key_id, statement, repeat('0', 64),"
        " authenticator_data, client_data, signature, 9 FROM people_assertion",
        "its own statement",
    ),
    "an answer changed": ("UPDATE people_assertion SET signature = 'x'", "never changed"),
    "an answer removed": ("DELETE FROM people_assertion", "never changed"),
    "a key's history changed": ("UPDATE people_keyevent SET label = 'x'", "never changed"),
    "a key's history removed": ("DELETE FROM people_keyevent", "never changed"),
    "a key put straight into the history": (
        "INSERT INTO people_keyevent (user_id, factor_id, event, credential, attestation, label)"
        " SELECT user_id, 9, 'added', 'x', 'x', 'x' FROM people_keyevent",
        "own trigger alone",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_the_database_refuses(signed: Signature, what: str) -> None:
    statement, why = REFUSED[what]
    with pytest.raises(IntegrityError, match=why), transaction.atomic():
        run(statement)


def test_a_key_added_by_sql_is_in_its_history_with_who_did_it(cast: Cast) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO mfa_authenticator (user_id, type, data, created_at)"
            " VALUES (%s, 'webauthn', '{\"name\": \"x\"}', now())", [cast.owner.pk]
        )  # fmt: skip
    entry = Entry.objects.get(table_name="people_keyevent")
    assert (entry.actor, entry.subject_id) == ("database", cast.owner.pk)


def test_role_and_signer_stand_in_the_statement(signed: Signature, cast: Cast) -> None:
    assert signed.assertion is not None
    assert f'"role":"{Role.HEAD_ROASTER}"' in signed.assertion.statement
    assert f'"signer":{cast.head_roaster.pk}' in signed.assertion.statement
