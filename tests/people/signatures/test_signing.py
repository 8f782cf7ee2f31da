"""Signing: the password every time, the address as well the first time, guesses counted."""

from collections.abc import Callable

import pytest
from django.db import transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.models import Meaning, Signature
from people.signatures.signing import LIMIT, Credentials, sign
from tests.cast import PASSWORD, Cast, credentials

DIGEST = "0f" * 32
Sign = Callable[..., Signature]


@pytest.fixture
def approve(cast: Cast) -> Sign:
    """A head roaster signs version 7."""

    def signing(typed: Credentials, by: User = cast.head_roaster) -> Signature:
        with transaction.atomic():
            return sign(
                by=by,
                credentials=typed,
                meaning=Meaning.APPROVED,
                digest=DIGEST,
                subject_type="version",
                subject_id=7,
                verb=Verb.RECIPE_APPROVE,
            )

    return signing


def test_a_signature_says_who_in_which_role_when_and_over_what(cast: Cast, approve: Sign) -> None:
    made = approve(credentials(cast.head_roaster))
    made.refresh_from_db()
    assert (made.user, made.name, made.role) == (cast.head_roaster, "Head roaster", "head_roaster")
    assert (made.meaning, made.digest) == ("approved", DIGEST)
    assert (made.subject_type, made.subject_id) == ("version", 7)
    assert made.at is not None


def test_the_printed_name_stays_when_the_person_is_renamed(cast: Cast, approve: Sign) -> None:
    made = approve(credentials(cast.head_roaster))
    User.objects.filter(pk=cast.head_roaster.pk).update(name="Renamed")
    made.refresh_from_db()
    assert made.name == "Head roaster"


# 21 CFR 11.200(a)(1): the first signing of a session with all components, later ones with at
# least one; as read in the project's own notes on the rule, not legal advice.
def test_the_first_signature_of_a_session_needs_the_address_too(approve: Sign) -> None:
    with pytest.raises(Invalid) as refused:
        approve(Credentials(password=PASSWORD))
    assert refused.value.field == "email"


def test_later_signatures_of_a_session_need_the_password_alone(approve: Sign) -> None:
    assert approve(Credentials(password=PASSWORD, session_signed=True)).pk


@pytest.mark.parametrize("signed_before", [True, False])
def test_a_wrong_password_signs_nothing(cast: Cast, approve: Sign, signed_before: bool) -> None:
    typed = Credentials("wrong", cast.head_roaster.email, session_signed=signed_before)
    with pytest.raises(Invalid) as refused:
        approve(typed)
    assert refused.value.field == "password"
    assert "wrong" not in refused.value.message
    assert not Signature.objects.exists()


def test_another_persons_address_signs_nothing(cast: Cast, approve: Sign) -> None:
    with pytest.raises(Invalid) as refused:
        approve(credentials(cast.second_roaster))
    assert refused.value.field == "password"


def test_an_empty_password_is_asked_for_and_not_counted(cast: Cast, approve: Sign) -> None:
    for _ in range(LIMIT + 1):
        with pytest.raises(Invalid, match="every signature"):
            approve(Credentials("", cast.head_roaster.email))


def test_somebody_whose_role_does_not_allow_it_signs_nothing(cast: Cast, approve: Sign) -> None:
    with pytest.raises(NotPermitted):
        approve(credentials(cast.shop_lead), by=cast.shop_lead)
    assert not Signature.objects.exists()


def test_after_five_wrong_passwords_even_the_right_one_waits(cast: Cast, approve: Sign) -> None:
    for _ in range(LIMIT):
        with pytest.raises(Invalid):
            approve(credentials(cast.head_roaster, "wrong"))
    with pytest.raises(Refused, match="closed for 15 minutes"):
        approve(credentials(cast.head_roaster))
    assert approve(credentials(cast.second_roaster), by=cast.second_roaster).pk


def test_the_right_password_starts_the_count_anew(cast: Cast, approve: Sign) -> None:
    for _ in range(3):
        for _ in range(LIMIT - 1):
            with pytest.raises(Invalid):
                approve(credentials(cast.head_roaster, "wrong"))
        assert approve(credentials(cast.head_roaster)).pk


@pytest.mark.django_db(transaction=True)
def test_signing_outside_a_transaction_is_a_programming_error(cast: Cast) -> None:
    with pytest.raises(RuntimeError, match="transaction"):
        sign(
            by=cast.head_roaster,
            credentials=credentials(cast.head_roaster),
            meaning=Meaning.APPROVED,
            digest=DIGEST,
            subject_type="version",
            subject_id=7,
            verb=Verb.RECIPE_APPROVE,
        )


def test_passwords_show_in_no_traceback_and_no_history(cast: Cast, approve: Sign) -> None:
    assert PASSWORD not in repr(credentials(cast.head_roaster))
    approve(credentials(cast.head_roaster))
    assert not any(PASSWORD in str(entry.changes) for entry in Entry.objects.all())
