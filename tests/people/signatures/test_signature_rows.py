"""What the database itself refuses about signatures, by whatever way."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from tests.cast import Cast


@pytest.fixture
def signature(cast: Cast) -> Signature:
    """One that claims to be old."""
    return Signature.objects.create(
        user=cast.head_roaster,
        name="Head roaster",
        role=Role.HEAD_ROASTER,
        meaning=Meaning.APPROVED,
        digest="ab" * 32,
        subject_type="version",
        subject_id=1,
        at=datetime(2001, 1, 1, tzinfo=UTC),
    )


def test_the_time_is_the_databases_whatever_was_claimed(signature: Signature) -> None:
    signature.refresh_from_db()
    assert abs(timezone.now() - signature.at) < timedelta(minutes=5)


ATTEMPTS: dict[str, Callable[[Signature], object]] = {
    "save": lambda s: Signature(pk=s.pk, **_values(s, "Somebody else")).save(force_update=True),
    "update": lambda s: Signature.objects.filter(pk=s.pk).update(digest="cd" * 32),
    "bulk update": lambda s: Signature.objects.bulk_update([_renamed(s)], ["name"]),
    "delete": lambda s: Signature.objects.filter(pk=s.pk).delete(),
    "raw update": lambda s: _run("UPDATE people_signature SET at = '2001-01-01'"),
    "raw delete": lambda s: _run("DELETE FROM people_signature"),
    "truncate": lambda s: _run("SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE people_signature CASCADE"),
}


@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_no_road_changes_or_removes_one(signature: Signature, attempt: str) -> None:
    before = Signature.objects.filter(pk=signature.pk).values().get()
    with pytest.raises(IntegrityError), transaction.atomic():
        ATTEMPTS[attempt](signature)
    assert Signature.objects.filter(pk=signature.pk).values().get() == before


@pytest.mark.parametrize(
    ("field", "value"),
    [("digest", "xyz"), ("digest", "AB" * 32), ("role", "king"), ("meaning", "seen")],
)
def test_unknown_roles_meanings_and_digests_are_refused(
    signature: Signature, field: str, value: str
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Signature.objects.create(**{**_values(signature), field: value})


def _values(signature: Signature, name: str = "Head roaster") -> dict[str, object]:
    names = ("user_id", "role", "meaning", "digest", "subject_type", "subject_id", "at")
    return {"name": name, **{field: getattr(signature, field) for field in names}}


def _renamed(signature: Signature) -> Signature:
    signature.name = "Somebody else"
    return signature


def _run(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)
