"""The group's policy: signed by an owner of all sites, one row, defaults before."""

import hashlib

import pytest
from django.db import IntegrityError, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from people.persons.actions import assign_role
from people.persons.models import User
from people.policy.actions import policy_seen, set_policy
from people.policy.models import Policy
from people.signatures.models import Signature
from tests.cast import Cast, credentials


def _set(
    by: User, *, sole_roaster: bool = True, revision: int = 1, boiling: str = "refuse"
) -> Policy:
    return set_policy(
        by=by,
        sole_roaster=sole_roaster,
        boiling=boiling,
        credentials=credentials(by),
        revision=revision,
    )


def test_before_any_is_signed_the_careful_choices_hold(db: None) -> None:
    policy = Policy.current()
    assert (policy.sole_roaster, policy.boiling) == (False, "acknowledge")
    assert policy.signature is None
    assert not Policy.objects.exists()


def test_an_owner_signs_it(cast: Cast) -> None:
    _set(cast.owner)
    policy = Policy.current()
    assert (policy.sole_roaster, policy.boiling, policy.revision) == (True, "refuse", 2)
    assert policy.signature
    assert (policy.signature.user, policy.signature.meaning) == (cast.owner, "policy_set")


def test_the_signature_covers_exactly_what_was_set(cast: Cast) -> None:
    signature = _set(cast.owner).signature
    assert signature
    # RFC 8785: members sorted by name, no white space.
    seen = b'{"boiling":"refuse","revision":2,"sole_roaster":true,"type":"policy"}'
    assert signature.digest == hashlib.sha256(seen).hexdigest()
    other = policy_seen(sole_roaster=False, boiling="refuse", revision=2)
    assert signature.digest != hashlib.sha256(other).hexdigest()


def test_the_history_names_the_signature(cast: Cast) -> None:
    signature = _set(cast.owner).signature
    entry = Entry.objects.filter(table_name="people_policy", operation="changed").get()
    assert entry.changes["sole_roaster"] == [False, True]
    assert (entry.action, entry.signature_id) == ("policy.set", signature and signature.pk)


@pytest.mark.parametrize("who", ["head_roaster", "shop_lead", "barista", "technician"])
def test_nobody_else_sets_it(cast: Cast, who: str) -> None:
    with pytest.raises(NotPermitted):
        _set(cast.everyone()[who])
    assert not Signature.objects.exists()


def test_nor_an_owner_of_one_site(cast: Cast) -> None:
    assign_role(by=None, person=cast.barista, role="owner", site_id=cast.site.pk)
    with pytest.raises(NotPermitted, match="for all sites"):
        _set(cast.barista)


def test_one_seen_before_another_was_signed_is_refused_whole(cast: Cast) -> None:
    _set(cast.owner)
    with pytest.raises(Stale):
        _set(cast.owner, sole_roaster=False, revision=1)
    assert Signature.objects.count() == 1
    assert Policy.current().sole_roaster


def test_an_unknown_choice_is_named(cast: Cast) -> None:
    with pytest.raises(Invalid) as refused:
        _set(cast.owner, boiling="shrug")
    assert (refused.value.field, refused.value.value) == ("boiling", "shrug")


def test_there_is_one_policy(cast: Cast) -> None:
    _set(cast.owner)
    with pytest.raises(IntegrityError), transaction.atomic():
        Policy.objects.create(pk=2)
