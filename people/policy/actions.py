"""The owner's signed policy."""

import hashlib

import rfc8785

from audit.capture.context import recorded
from audit.errors import Invalid, Stale, Subject
from audit.revision import compare_and_set
from people import history
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from people.policy.models import Boiling, Policy
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign


def policy_seen(*, sole_roaster: bool, boiling: str, revision: int) -> bytes:
    """The policy's canonical JSON (RFC 8785), as somebody who signs it sees it."""
    seen: dict[str, bool | str | int] = {
        "type": "policy",
        "sole_roaster": sole_roaster,
        "boiling": boiling,
        "revision": revision,
    }
    return rfc8785.dumps(seen)


def policy_digest(*, sole_roaster: bool, boiling: str, revision: int) -> str:
    """SHA-256 over it, as its signature carries it."""
    seen = policy_seen(sole_roaster=sole_roaster, boiling=boiling, revision=revision)
    return hashlib.sha256(seen).hexdigest()


def set_policy(
    *, by: User, sole_roaster: bool, boiling: str, credentials: Credentials, expected: int
) -> Policy:
    """Sign the policy for the whole group. Raises Invalid, NotPermitted, Stale, and as sign()."""
    with recorded(
        by=by, action=history.POLICY_SET, subject=Subject("policy", 1, "Policy")
    ) as recording:
        require_everywhere(by, Verb.POLICY_SET)
        if boiling not in Boiling.values:
            raise Invalid("boiling", boiling, "one of " + ", ".join(Boiling.values))
        policy = Policy.objects.get_or_create(pk=1)[0]
        if policy.revision != expected:  # before anything is signed; the race ends below
            raise Stale("It was changed meanwhile: look at the newest state.", policy.revision)
        seen = policy_seen(sole_roaster=sole_roaster, boiling=boiling, revision=expected + 1)
        signature = sign(
            by=by,
            credentials=credentials,
            meaning=Meaning.POLICY_SET,
            digest=hashlib.sha256(seen).hexdigest(),
            seen=seen,
            subject_type="policy",
            subject_id=1,
            verb=Verb.POLICY_SET,
        )
        recording.signed(signature.pk)
        compare_and_set(
            policy, expected, sole_roaster=sole_roaster, boiling=boiling, signature=signature
        )
    return policy
