"""The owner's signed policy: set, and compared with what was signed."""

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any

import rfc8785

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale, Subject
from audit.registry import ContentShown, SignatureShown
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from people.policy import signing_rules, witness_rule
from people.policy.models import Boiling, Policy
from people.policy.signing_rules import Rules
from people.signatures.content import Seen, as_seen
from people.signatures.models import Meaning, Signature
from people.signatures.rules import Need, as_strong
from people.signatures.signing import Credentials, sign

POLICY_SET = register("policy.set", "Set policy")


def policy_seen(
    *,
    sole_roaster: bool,
    boiling: str,
    revision: int,
    rules: Rules | None = None,
    witnesses: tuple[str, int] = witness_rule.NOTHING,
) -> bytes:
    """The policy's canonical JSON (RFC 8785), as somebody who signs it sees it."""
    seen: dict[str, Any] = {
        "type": "policy",
        "sole_roaster": sole_roaster,
        "boiling": boiling,
        "revision": revision,
    }
    if rules:  # one that asks for nothing more reads as before there were any
        seen["signing"] = signing_rules.as_seen(rules)
    return rfc8785.dumps(seen | witness_rule.as_seen(*witnesses))


def set_policy(
    *,
    by: User,
    revision: int,
    sole_roaster: bool,
    boiling: str,
    credentials: Credentials,
    rules: Rules | None = None,
    acknowledged: bool = False,
    witnesses: Sequence[str] | None = None,
    witnesses_needed: int | None = None,
) -> Policy:
    """Sign the policy for the whole group. Raises Invalid, NotPermitted, Stale, and as sign().

    ``rules``: what signatures need (None: as now); what is left to nobody is ``acknowledged``.
    ``witnesses``, ``witnesses_needed``: by their keys, who has to see the history (None: as now).
    """
    with recorded(by=by, action=POLICY_SET, subject=Subject("policy", 1, "Policy")) as recording:
        require_everywhere(by, Verb.POLICY_SET)
        if boiling not in Boiling.values:
            raise Invalid("boiling", boiling, "one of " + ", ".join(Boiling.values))
        policy = _at(revision)
        wanted = signing_rules.wanted(rules, acknowledged=acknowledged)
        seers = witness_rule.wanted(policy, witnesses, witnesses_needed)
        seen = policy_seen(
            sole_roaster=sole_roaster,
            boiling=boiling,
            revision=revision + 1,
            rules=wanted,
            witnesses=seers,
        )
        signature = _signed(by, credentials, seen)
        recording.signed(signature.pk)
        _require_own_means(signature, wanted)
        signing_rules.write(wanted)
        fields = {"sole_roaster": sole_roaster, "boiling": boiling, "signature": signature}
        fields |= {"witnesses": seers[0], "witnesses_needed": seers[1]}
        compare_and_set(policy, revision, **fields)
    return policy


def _signed(by: User, credentials: Credentials, seen: bytes) -> Signature:
    return sign(
        by=by,
        credentials=credentials,
        meaning=Meaning.POLICY_SET,
        digest=hashlib.sha256(seen).hexdigest(),
        seen=seen,
        subject_type="policy",
        subject_id=1,
        verb=Verb.POLICY_SET,
    )


def _at(revision: int) -> Policy:
    """The policy, before anything is signed; a race ends when it is written. Raises Stale."""
    policy = Policy.objects.get_or_create(pk=1)[0]
    if policy.revision != revision:
        raise Stale("It was changed meanwhile: look at the newest state.", policy.revision)
    return policy


def _require_own_means(signature: Signature, rules: Rules) -> None:
    """Whoever asks for a passkey from themselves has one at hand: nobody shuts themselves out."""
    need = signing_rules.need_under(rules, signature.meaning, signature.role)
    if not as_strong(signature.manner, need):
        word = "a passkey" if need is Need.PASSKEY else "a second factor"
        raise Refused(
            f"You ask for {word} to set the policy: sign this with {word}.",
            how_to_ask=f"Add {word} under “Second factor” in your account, then sign with it.",
        )


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
        asked = signing_rules.as_seen(signing_rules.rules_in_force())
        if seen.get("signing", []) != asked:
            yield "what signatures need"
        stands = witness_rule.as_seen(policy.witnesses, policy.witnesses_needed)
        if seen.get("witnesses") != stands.get("witnesses"):
            yield "which witnesses are needed"

    return as_seen(signed, moved)
