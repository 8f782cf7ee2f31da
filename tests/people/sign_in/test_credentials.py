"""That a credential changed is in the history, whoever changed it how; what it is never is."""

from typing import Any

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.contrib.auth.hashers import make_password
from django.db import connection
from django.test import Client, override_settings

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import UNSHOWN
from people.pins.actions import set_pin
from people.sign_in.urls import OWN_ACCOUNT
from people.tablets.actions import add_tablet, enrol
from people.tokens.actions import make_token
from people.tokens.models import Scope
from tests.cast import PASSWORD, Cast

THAT = [UNSHOWN, UNSHOWN]


def sql(statement: str, *values: str | int) -> None:
    """As somebody with the program's own connection, and no word to the history."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def newest(table: str) -> Entry:
    """The last entry about that table."""
    return Entry.objects.filter(table_name=table).latest("id")


def by_hand(entry: Entry, subject: int, changes: dict[str, Any]) -> None:
    """It says who is concerned, that the database was told nothing, and no secret."""
    assert (entry.operation, entry.action, entry.actor) == (
        "changed",
        "database.changed",
        "database",
    )
    assert (entry.subject_id, entry.changes) == (subject, changes)


def test_a_password_set_by_sql(cast: Cast) -> None:
    mine = make_password("taken over now")
    sql("UPDATE people_user SET password = %s WHERE id = %s", mine, cast.head_roaster.pk)
    by_hand(newest("people_user"), cast.head_roaster.pk, {"password": THAT})
    assert mine not in str(list(Entry.objects.values()))


def test_a_tokens_digest_moved_by_sql(cast: Cast) -> None:
    token = make_token(by=cast.owner, name="till", scopes=[Scope.SIGN], days=9)[0]
    sql("UPDATE people_apitoken SET digest = %s WHERE id = %s", "f" * 64, token.pk)
    by_hand(newest("people_apitoken"), token.pk, {"digest": THAT})
    assert "f" * 64 not in str(list(Entry.objects.values()))


def test_a_pin_and_a_tablets_key_by_sql(cast: Cast) -> None:
    set_pin(by=cast.barista, digits="7304")
    sql("UPDATE people_pin SET secret = %s WHERE user_id = %s", "mine", cast.barista.pk)
    by_hand(newest("people_pin"), cast.barista.pk, {"secret": THAT})
    code = add_tablet(by=cast.owner, site_id=cast.site.pk, name="Counter")[1]
    tablet = enrol(by=None, code=code)[0]
    sql("UPDATE people_tablet SET digest = %s WHERE id = %s", "e" * 64, tablet.pk)
    by_hand(newest("people_tablet"), tablet.pk, {"digest": THAT})
    assert "e" * 64 not in str(list(Entry.objects.values()))


@pytest.fixture
def factor(cast: Cast) -> Authenticator:
    """The owner's code app."""
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        RecoveryCodes.activate(cast.owner)
        return TOTP.activate(cast.owner, generate_totp_secret()).instance


def test_a_second_factors_data_replaced_by_sql(cast: Cast, factor: Authenticator) -> None:
    known = '{"secret": "KNOWNTOME"}'
    sql("UPDATE mfa_authenticator SET data = %s::jsonb WHERE id = %s", known, factor.pk)
    by_hand(newest("mfa_authenticator"), cast.owner.pk, {"data": THAT})
    assert "KNOWNTOME" not in str(list(Entry.objects.values()))


def test_one_moved_to_somebody_else_or_removed(cast: Cast, factor: Authenticator) -> None:
    sql("UPDATE mfa_authenticator SET user_id = %s WHERE id = %s", cast.barista.pk, factor.pk)
    by_hand(
        newest("mfa_authenticator"), cast.barista.pk, {"user_id": [cast.owner.pk, cast.barista.pk]}
    )
    sql("DELETE FROM mfa_authenticator WHERE id = %s", factor.pk)
    assert newest("mfa_authenticator").operation == "removed"


def test_an_address_of_the_librarys(cast: Cast) -> None:
    made = EmailAddress.objects.create(user=cast.owner, email="mine@example.com", verified=True)
    entry = newest("account_emailaddress")
    assert (entry.operation, entry.subject_id) == ("created", cast.owner.pk)
    sql(
        'INSERT INTO account_emailconfirmation (created, key, email_address_id)'
        " VALUES (now(), 'open-sesame', %s)", made.pk,
    )  # fmt: skip
    entry = newest("account_emailconfirmation")
    assert (entry.operation, entry.subject_id) == ("created", cast.owner.pk)
    assert "open-sesame" not in str(entry.changes)


def test_a_spare_code_used_to_sign_in_is_its_owners(cast: Cast, factor: Authenticator) -> None:
    spare = Authenticator.objects.get(type="recovery_codes").wrap().get_unused_codes()[0]
    browser = Client()
    asks = browser.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    browser.post(asks["Location"], {"code": spare})
    assert "_auth_user_id" in browser.session
    entry = newest("mfa_authenticator")
    assert (entry.actor, entry.action, entry.changes) == (
        "Owner",
        "person.factor_used",
        {"data": THAT},
    )
    assert not Entry.objects.filter(action="database.changed").exists()


def test_a_password_hashed_anew_at_sign_in_is_its_owners(cast: Cast, client: Client) -> None:
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        cast.owner.password = make_password(PASSWORD)
        cast.owner.save(update_fields=["password"])
    before = Entry.objects.latest("id").pk
    hashers = [
        "django.contrib.auth.hashers.PBKDF2PasswordHasher",
        "django.contrib.auth.hashers.MD5PasswordHasher",
    ]
    with override_settings(PASSWORD_HASHERS=hashers):
        client.post("/account/login/", {"login": cast.owner.email, "password": PASSWORD})
    entry, begun = Entry.objects.filter(pk__gt=before).order_by("pk")
    assert begun.action == "sign_in.begun"
    assert (entry.actor, entry.action, entry.changes) == (
        "Owner",
        "person.password_rehashed",
        {"password": THAT},
    )
