"""The owner's signed policy: set, and compared with what was signed."""

import hashlib
from collections.abc import Iterable

import rfc8785

from audit.capture.context import recorded
from audit.errors import Invalid, Stale, Subject
from audit.registry import ContentShown, SignatureShown
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from people.policy.models import Boiling, Policy
from people.signatures.content import Seen, as_seen
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign

POLICY_SET = register("policy.set", "Set policy")


def policy_seen(*, sole_roaster: bool, boiling: str, revision: int) -> bytes:
    """The policy's canonical JSON (RFC 8785), as somebody who signs it sees it."""
    seen: dict[str, bool | str | int] = {
        "type": "policy",
        "sole_roaster": sole_roaster,
        "boiling": boiling,
        "revision": revision,
    }
    return rfc8785.dumps(seen)


def set_policy(
    *, by: User, revision: int, sole_roaster: bool, boiling: str, credentials: Credentials
) -> Policy:
    """Sign the policy for the whole group. Raises Invalid, NotPermitted, Stale, and as sign()."""
    with recorded(by=by, action=POLICY_SET, subject=Subject("policy", 1, "Policy")) as recording:
        require_everywhere(by, Verb.POLICY_SET)
        if boiling not in Boiling.values:
            raise Invalid("boiling", boiling, "one of " + ", ".join(Boiling.values))
        policy = Policy.objects.get_or_create(pk=1)[0]
        if policy.revision != revision:  # before anything is signed; the race ends below
            raise Stale("It was changed meanwhile: look at the newest state.", policy.revision)
        seen = policy_seen(sole_roaster=sole_roaster, boiling=boiling, revision=revision + 1)
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
            policy, revision, sole_roaster=sole_roaster, boiling=boiling, signature=signature
        )
    return policy


def policy_content(signed: SignatureShown) -> ContentShown:
    """Whether the policy is still what that signature was given for."""

    def moved(seen: Seen) -> Iterable[str]:
        policy = Policy.objects.filter(signature=signed.pk).first()
        if policy is None:
            return  # another is in force: only what was kept speaks for this one
        if policy.sole_roaster is not seen["sole_roaster"]:
            yield "the rule for a sole roaster"
        if policy.boiling != seen["boiling"]:
            yield "the rule for boiling"

    return as_seen(signed, moved)
