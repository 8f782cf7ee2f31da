"""Invariant 3: a signature binds to the digest of exactly what the signer saw."""

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP

from audit.capture.context import recorded
from people.persons.models import User
from people.persons.verbs import Role
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Meaning, Signature
from recipes.versions.models import Version
from recipes.versions.review import return_to_author
from tests.attacks import refused, sql
from tests.cast import PASSWORD, ApiAs, Cast
from tests.recipes.shelf import make_approved, make_in_review

UNSIGNED = "needs a signature over exactly this content"


def signature(version: Version, by: User, **other: object) -> Signature:
    said = {
        "user": by,
        "name": by.name,
        "role": Role.HEAD_ROASTER,
        "meaning": Meaning.APPROVED,
        "digest": version.content_digest,
        "subject_type": "version",
        "subject_id": version.pk,
    }
    return Signature.objects.create(**{**said, **other})


def approve_by_sql(version: Version, signed: Signature | None) -> None:
    statement = "UPDATE recipes_version SET state = 'approved', signature_id = %s WHERE id = %s"
    sql(statement, signed.pk if signed else None, version.pk)()


def test_without_a_signature(in_review: Version) -> None:
    refused(lambda: approve_by_sql(in_review, None), UNSIGNED)


@pytest.mark.parametrize(
    "other",
    [
        {"digest": "0" * 64},
        {"meaning": Meaning.PUBLISHED},
        {"subject_type": "publication"},
        {"subject_id": 10**9},
    ],
)
def test_a_signature_over_something_else(
    cast: Cast, in_review: Version, other: dict[str, object]
) -> None:
    signed = signature(in_review, cast.second_roaster, **other)
    refused(lambda: approve_by_sql(in_review, signed), UNSIGNED)


def test_a_signature_copied_from_another_version(cast: Cast, approved: Version) -> None:
    waiting = make_in_review(cast, approved.recipe)
    assert approved.signature is not None
    refused(lambda: approve_by_sql(waiting, approved.signature), UNSIGNED)


def test_content_and_digest_moved_after_signing(cast: Cast, in_review: Version) -> None:
    signed = signature(in_review, cast.second_roaster)
    draft = return_to_author(
        by=cast.second_roaster,
        version=in_review,
        revision=in_review.revision,
        comments={"": "Hotter"},
    )
    draft.formula.filter(code="brew_temperature").update(target=94)
    moved = Version.objects.filter(pk=draft.pk)
    refused(
        lambda: moved.update(state="in_review", content_digest=signed.digest),
        "digest is not that of the content",
    )


def test_a_version_in_review_keeps_its_digest(in_review: Version) -> None:
    rows = Version.objects.filter(pk=in_review.pk)
    refused(lambda: rows.update(content_digest="0" * 64), "never changes")


def test_the_signature_itself_stays(cast: Cast, approved: Version) -> None:
    rows = Signature.objects.filter(subject_type="version", subject_id=approved.pk)
    refused(lambda: rows.update(digest="0" * 64), "never changed")
    refused(sql("DELETE FROM people_signature"), "never changed|viol")
    other = signature(approved, cast.second_roaster)
    refused(lambda: Version.objects.filter(pk=approved.pk).update(signature=other), "never changes")
    newer = make_approved(cast, approved.recipe)
    assert newer.signature_id != approved.signature_id


def test_a_token_signs_only_with_the_persons_password_and_code(
    cast: Cast, in_review: Version, api_as: ApiAs
) -> None:
    who, address = cast.second_roaster, f"/api/v1/versions/{in_review.pk}/approve/"
    with recorded(by=who, action=OWN_ACCOUNT):
        RecoveryCodes.activate(who)
        TOTP.activate(who, "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP")
    spare = RecoveryCodes.activate(who).get_unused_codes()[0]
    body = {"digest": in_review.content_digest, "email": who.email}
    for number, secrets in enumerate([{}, {"password": PASSWORD}, {"code": spare}]):
        answer = api_as(who).post(
            address, body | secrets, headers={"Idempotency-Key": f"signed-in-part-{number}"}
        )
        assert answer.status_code == 400, secrets
    assert not Signature.objects.filter(meaning=Meaning.APPROVED).exists()
    whole = body | {"password": PASSWORD, "code": spare}
    signed = api_as(who).post(address, whole, headers={"Idempotency-Key": "signed-whole-at-last"})
    assert signed.status_code == 200, signed.json()
    assert Signature.objects.get(meaning=Meaning.APPROVED).manner == "password_code"


def test_by_the_api(cast: Cast, in_review: Version, api_as: ApiAs) -> None:
    body = {"digest": "0" * 64, "email": cast.second_roaster.email, "password": PASSWORD}
    answer = api_as(cast.second_roaster).post(
        f"/api/v1/versions/{in_review.pk}/approve/",
        body,
        headers={"Idempotency-Key": "other-digest"},
    )
    assert answer.status_code == 409
    assert "content moved" in answer.json()["detail"]
    assert not Signature.objects.filter(meaning=Meaning.APPROVED).exists()
