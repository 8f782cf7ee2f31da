"""Passkeys put there by SQL: found by a reconciliation, and told wherever an owner looks."""

import json
from html import unescape

import pytest
from allauth.mfa.models import Authenticator

from audit.alarms import alarms
from audit.reconciling.actions import ask
from audit.reconciling.models import Reconciliation
from audit.reconciling.run import run_reconciliation
from people.passkeys.comparing import keys_not_as_told
from people.persons.models import User
from tests.audit.roles import Connection, program, role
from tests.audit.sample import run
from tests.audit.sealed import unguarded
from tests.cast import Cast, SignedIn
from tests.people.passkeys.device import Device

__all__ = ["program", "role"]
PUT = (
    "INSERT INTO mfa_authenticator (user_id, type, data, created_at)"
    " VALUES (%s, 'webauthn', %s, now()) RETURNING id"
)


def held(device: Device, name: str = "Phone") -> str:
    """What the library keeps of that key."""
    return json.dumps({"name": name, "credential": device.registered()})


def told() -> list[str]:
    return [key.words for key in keys_not_as_told()]


def reconciled(cast: Cast) -> Reconciliation:
    made = ask(by=cast.owner)
    assert run_reconciliation(made.pk)
    made.refresh_from_db()
    return made


def test_of_keys_their_people_added_nothing_is_said(cast: Cast, device: Device) -> None:
    Device().of(cast.head_roaster)
    Device().of(cast.second_roaster)
    Authenticator.objects.filter(user=cast.second_roaster).delete()
    assert told() == []


def test_one_put_there_past_the_triggers(cast: Cast) -> None:
    unguarded(PUT, cast.head_roaster.pk, held(Device()))
    [words] = told()
    assert "passkey “Phone”" in words
    assert "nothing tells that it, or the key it holds, was added" in words


def test_another_key_in_the_place_of_one(cast: Cast, device: Device) -> None:
    """The history says of what a factor holds only that it changed: this says which."""
    other = json.loads(held(Device()))
    mine = Authenticator.objects.get(user=cast.head_roaster, type="webauthn")
    for data in (
        {**mine.data, "credential": other["credential"]},
        # The same name of the key, and another public key behind it.
        {
            **mine.data,
            "credential": {
                **mine.data["credential"],
                "response": other["credential"]["response"],
            },
        },
    ):
        unguarded("UPDATE mfa_authenticator SET data = %s WHERE id = %s", json.dumps(data), mine.pk)
        assert len(told()) == 2  # one that nothing tells of, and one that is gone
    unguarded(
        "UPDATE mfa_authenticator SET data = %s WHERE id = %s", json.dumps(mine.data), mine.pk
    )
    assert told() == []
    unguarded("UPDATE mfa_authenticator SET user_id = %s WHERE id = %s", cast.owner.pk, mine.pk)
    assert len(told()) == 2


def test_one_taken_away_past_the_triggers(cast: Cast, device: Device) -> None:
    unguarded("DELETE FROM mfa_authenticator WHERE user_id = %s", cast.head_roaster.pk)
    assert told() == ["passkey “Phone”: it was added and never removed, and is not there."]


@pytest.mark.django_db(transaction=True)
def test_one_added_as_the_program_s_role(cast: Cast, program: Connection) -> None:
    """Its triggers are on, so the history has it: of nobody, which is what is told."""
    made = program.execute(PUT, [cast.head_roaster.pk, held(Device())]).fetchone()
    assert made
    [words] = told()
    assert "added by “database”, not by Head roaster" in words
    program.execute("DELETE FROM mfa_authenticator WHERE id = %s", [made[0]])
    assert told() == []


def test_it_stands_at_home_on_health_on_their_page_and_in_the_run(
    cast: Cast, signed_in: SignedIn
) -> None:
    run("DROP TABLE IF EXISTS sample_jar, sample_note, sample_shelf CASCADE")
    owner = signed_in(cast.owner)
    assert reconciled(cast).agrees
    run(f"INSERT INTO mfa_authenticator (user_id, type, data, created_at)"
        f" VALUES ({cast.head_roaster.pk}, 'webauthn', '{held(Device())}', now())")  # fmt: skip
    made = reconciled(cast)
    assert (made.agrees, made.counts) == (False, {"key": 1})
    assert any("The tables are NOT what the history says" in alarm.words for alarm in alarms())
    person = f"/people/{User.objects.get(name='Head roaster').pk}/"
    for address in ("/", "/healthz", person, f"/history/reconciliations/{made.pk}/"):
        page = unescape(owner.get(address).content.decode())
        expected = "NOT what the history says" if address in ("/", "/healthz") else "added by"
        assert expected in page, address
    Authenticator.objects.filter(user=cast.head_roaster).delete()
    assert reconciled(cast).agrees
