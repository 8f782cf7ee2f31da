"""What the house asks of signatures: by meaning and role, told clearly, nobody shut out unseen."""

import pytest
from allauth.mfa.totp.internal.auth import TOTP
from django.db import IntegrityError, transaction
from django.test import Client

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import Invalid, Refused
from people.persons.models import User
from people.persons.verbs import Role, Verb
from people.policy.actions import set_policy
from people.policy.models import Policy
from people.policy.signing_rules import left_to_nobody, rules_in_force
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Meaning, Signature, SigningRule
from people.signatures.signing import Credentials, sign
from people.signatures.whole import check_whole
from tests.cast import PASSWORD, ApiAs, Cast, InPerson, SignedIn, credentials
from tests.people.passkeys.device import Device

APPROVING = (Meaning.APPROVED.value, "")
AS_ROASTER = ("", Role.HEAD_ROASTER.value)
SETTING = (Meaning.POLICY_SET.value, "")


def ask_for(cast: Cast, rules: dict[tuple[str, str], str], *, acknowledged: bool = True) -> Policy:
    """The owner signs a policy that asks for this."""
    return set_policy(
        by=cast.owner, revision=Policy.current().revision, sole_roaster=False, boiling="refuse",
        credentials=credentials(cast.owner), rules=rules, acknowledged=acknowledged,
    )  # fmt: skip


def approve(by: User, typed: Credentials | None = None) -> Signature:
    """Somebody signs version 7."""
    with transaction.atomic():
        return sign(
            by=by, credentials=typed or credentials(by), meaning=Meaning.APPROVED,
            digest="0f" * 32, subject_type="version", subject_id=7, verb=Verb.RECIPE_APPROVE,
        )  # fmt: skip


@pytest.mark.parametrize("rule", [APPROVING, AS_ROASTER, ("approved", "head_roaster")])
@pytest.mark.parametrize(
    ("needs", "how"), [("passkey", "Add a passkey"), ("code", "Set up a code")]
)
def test_whoever_lacks_what_is_asked_is_told_what_to_do(
    cast: Cast, rule: tuple[str, str], needs: str, how: str
) -> None:
    ask_for(cast, {rule: needs})
    with pytest.raises(Refused, match="house's policy asks for") as refused:
        approve(cast.head_roaster)
    assert refused.value.how_to_ask.startswith(how)


def test_other_meanings_and_roles_are_signed_as_before(cast: Cast) -> None:
    ask_for(cast, {("published", ""): "passkey", ("", "technician"): "passkey"})
    assert approve(cast.head_roaster).manner == "password"


def test_who_has_a_passkey_where_it_is_asked_does_not_sign_with_a_code(cast: Cast) -> None:
    Device().of(cast.head_roaster)
    ask_for(cast, {APPROVING: "passkey"})
    with pytest.raises(Refused) as refused:
        approve(cast.head_roaster, Credentials(PASSWORD, cast.head_roaster.email, code="123456"))
    assert "Sign with passkey" in refused.value.how_to_ask


def test_the_database_takes_nothing_less_either(cast: Cast) -> None:
    ask_for(cast, {APPROVING: "code"})
    said = {
        "user": cast.head_roaster, "name": "x", "role": "head_roaster", "meaning": "approved",
        "digest": "0f" * 32, "subject_type": "version", "subject_id": 7,
    }  # fmt: skip
    with pytest.raises(IntegrityError, match="policy asks"), transaction.atomic():
        Signature.objects.create(**said, manner="password")
    assert Signature.objects.create(**said, manner="password_code").pk
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        SigningRule.objects.update(needs="passkey")
    with pytest.raises(IntegrityError, match="policy asks"), transaction.atomic():
        Signature.objects.create(**said, manner="password_code")


def test_owners_can_not_ask_of_themselves_what_they_lack(cast: Cast) -> None:
    for rule in (SETTING, ("", "owner")):
        for needs in ("code", "passkey"):
            with pytest.raises(Refused, match="You ask for"):
                ask_for(cast, {rule: needs})
    assert not SigningRule.objects.exists()


def test_a_kind_of_signature_left_to_nobody_has_to_be_accepted(cast: Cast) -> None:
    with pytest.raises(Invalid) as warned:
        ask_for(cast, {APPROVING: "passkey"}, acknowledged=False)
    assert warned.value.field == "acknowledged"
    assert "Approved" in warned.value.allowed
    Device().of(cast.second_roaster)
    assert ask_for(cast, {APPROVING: "passkey"}, acknowledged=False).pk


def test_who_is_left_counts_roles_people_and_what_they_have(cast: Cast) -> None:
    assert left_to_nobody({}) == []
    assert left_to_nobody({AS_ROASTER: "code"}) == [
        "Approved", "Published", "Permitted to differ"
    ]  # fmt: skip
    with recorded(by=cast.head_roaster, action=OWN_ACCOUNT):
        TOTP.activate(cast.head_roaster, "JBSWY3DPEHPK3PXP")
    assert left_to_nobody({AS_ROASTER: "code"}) == []
    assert left_to_nobody({AS_ROASTER: "passkey"}) == [
        "Approved", "Published", "Permitted to differ"
    ]  # fmt: skip


@pytest.mark.parametrize("bad", [("seen", ""), ("", "barista"), ("", "king")])
def test_a_rule_about_nothing_is_refused(cast: Cast, bad: tuple[str, str]) -> None:
    with pytest.raises(Invalid, match="signing"):
        ask_for(cast, {bad: "code"})


def test_rules_are_signed_for_and_a_change_without_shows(cast: Cast) -> None:
    policy = ask_for(cast, {APPROVING: "code"})
    assert policy.signature is not None
    assert check_whole(policy.signature).same is True
    entry = Entry.objects.get(table_name="people_signingrule")
    assert entry.signature_id == policy.signature_id
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        SigningRule.objects.all().delete()
    assert "what signatures need" in check_whole(policy.signature).words


def test_not_named_they_stay_and_named_empty_they_go(cast: Cast) -> None:
    ask_for(cast, {APPROVING: "code"})
    set_policy(
        by=cast.owner, revision=2, sole_roaster=True, boiling="refuse",
        credentials=credentials(cast.owner), acknowledged=True,
    )  # fmt: skip
    assert rules_in_force() == {APPROVING: "code"}
    ask_for(cast, {})
    assert rules_in_force() == {}


# By the page and by the API.


def test_on_the_page(cast: Cast, signed_in: SignedIn) -> None:
    browser: Client = signed_in(cast.owner)
    typed = {"boiling": "refuse", "revision": "1", "signing_approved": "passkey",
             "email": cast.owner.email, "password": PASSWORD}  # fmt: skip
    warned = browser.post("/policy/", typed)
    assert warned.status_code == 400
    assert "nobody can sign: Approved" in warned.content.decode()
    page = browser.post("/policy/", typed | {"acknowledged": "on"}, follow=True).content.decode()
    assert "Signatures that say “Approved”: passkey" in page
    assert '<option value="passkey" selected>' in page


def test_a_program_is_told_that_it_can_not(cast: Cast, api_in_person: InPerson) -> None:
    Device().of(cast.owner)
    ask_by = SigningRule.objects.create
    with recorded(by=cast.owner, action=OWN_ACCOUNT):
        ask_by(meaning="policy_set", role="", needs="passkey")
    body = {"sole_roaster": True, "boiling": "refuse", "email": cast.owner.email,
            "password": PASSWORD, "code": "123456"}  # fmt: skip
    program = api_in_person(cast.owner)
    seen = {"If-Match": program.get("/api/v1/policy/").headers["ETag"]}
    answer = program.put("/api/v1/policy/", body, format="json", headers=seen)
    assert answer.status_code == 409, answer.json()
    assert "house's policy asks for a passkey" in answer.json()["detail"]


def test_a_token_sets_no_rules(cast: Cast, api_as: ApiAs) -> None:
    answer = api_as(cast.owner).put("/api/v1/policy/", {"signing": []}, format="json")
    assert answer.status_code == 403
