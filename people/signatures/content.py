"""Whether what somebody signed is still what they signed.

Where the content stands in other rows its digest is worked out again from those. Of a plan the
bytes seen are kept: they must still have the digest, and what is stored must still say the same.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256
from typing import Any

from audit.registry import (
    ContentShown,
    SignatureShown,
    register_content,
    register_people,
    register_signature,
    register_subject,
    register_units,
)
from people.persons.models import User
from people.policy.models import Policy
from people.signatures.models import Signature, SignedContent
from web.printing import unit_label

Seen = dict[str, Any]

SAME = ContentShown(True, "Content still has this digest.")
NOT_KEPT = ContentShown(
    None, "What was seen was not kept, so its digest can't be worked out again."
)
FORGED = ContentShown(False, "Content has changed since: what is kept of it has another digest.")


def told(moved: Iterable[str]) -> ContentShown:
    """The answer for what no longer fits, in words; nothing is good news."""
    parts = list(moved)
    return ContentShown(False, f"Content has changed since: {', '.join(parts)}.") if parts else SAME


def as_seen(signed: SignatureShown, moved: Callable[[Seen], Iterable[str]]) -> ContentShown:
    """What was kept is looked at first, then compared with what is stored by `moved`."""
    kept = SignedContent.objects.filter(pk=signed.pk).first()
    if kept is None:
        return NOT_KEPT
    if sha256(kept.canonical.encode()).hexdigest() != signed.digest:
        return FORGED
    return told(moved(json.loads(kept.canonical)))


def policy_content(signed: SignatureShown) -> ContentShown:
    """Of a policy."""

    def moved(seen: Seen) -> Iterable[str]:
        policy = Policy.objects.filter(signature=signed.pk).first()
        if policy is None:
            return  # another is in force: only what was kept speaks for this one
        if policy.sole_roaster is not seen["sole_roaster"]:
            yield "the rule for a sole roaster"
        if policy.boiling != seen["boiling"]:
            yield "the rule for boiling"

    return as_seen(signed, moved)


# How people and signatures are shown on the history's pages.

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_people(_everyone)
    register_signature(_signature)
    register_units(unit_label)
    register_content("policy", policy_content)
    register_subject("person", "Person", "people:edit", find=_people_named)
    register_subject("policy", "Policy")
    register_subject("token", "Token")
    register_subject("signature", "Signature")


def _everyone() -> Sequence[tuple[int, str]]:
    return list(User.objects.order_by("name").values_list("pk", "name"))


def _people_named(text: str) -> Iterable[tuple[int, str]]:
    return User.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _signature(pk: int) -> SignatureShown | None:
    signed = Signature.objects.filter(pk=pk).first()
    return shown(signed) if signed else None


def shown(signed: Signature) -> SignatureShown:
    """A signature as it must be shown."""
    return SignatureShown(
        name=signed.name,
        role=signed.get_role_display(),
        meaning=signed.get_meaning_display(),
        at=signed.at,
        digest=signed.digest,
        note=signed.note,
        pk=signed.pk,
        about=signed.subject_type,
        about_id=signed.subject_id,
    )
