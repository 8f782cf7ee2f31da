"""Whether what somebody signed is still what they signed.

Where the content stands in other rows its digest is worked out again from those. Of a plan the
bytes seen are kept: they must still have the digest, and what is stored must still say the same.
"""

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.db.models import Model, TextField
from django.db.models.expressions import RawSQL

from audit.registry import ContentShown, SignatureShown
from people.signatures.models import Signature, SignedContent

Seen = dict[str, Any]

# How what is seen is written down before it is hashed. In scheme 1, which says no number, plans
# held refusals and flags as sentences; since scheme 2 they hold codes and numbers alone.
SCHEME = 2

SAME = ContentShown(True, "Content still has this digest.")
NOT_KEPT = ContentShown(
    None, "What was seen was not kept, so its digest can't be worked out again."
)
NEWER = ContentShown(
    None, "It was signed by a later version of this program, which can tell whether it has changed."
)
FORGED = ContentShown(False, "Content has changed since: what is kept of it has another digest.")


def content_shown(moved: Iterable[str]) -> ContentShown:
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
    seen: Seen = json.loads(kept.canonical)
    return NEWER if scheme_of(seen) > SCHEME else content_shown(moved(seen))


def scheme_of(seen: Seen) -> int:
    """By which scheme it was written down."""
    return int(seen.get("scheme", 1))


# Many at once, for whoever has to compare each line of a list.


@dataclass(frozen=True)
class Kept:
    """What was seen, by signature, where it still has the digest; ``missing`` kept nothing."""

    seen: Mapping[int, Seen]
    missing: frozenset[int]


def kept_of(signatures: Iterable[Signature]) -> Kept:
    """What is kept of these signatures: one query. What has another digest is left out of both."""
    digests = {each.pk: each.digest for each in signatures}
    rows = SignedContent.objects.filter(pk__in=digests).values_list("pk", "canonical")
    found = dict(rows)
    whole = {
        pk: json.loads(text)
        for pk, text in found.items()
        if sha256(text.encode()).hexdigest() == digests[pk]
    }
    readable = {pk: seen for pk, seen in whole.items() if scheme_of(seen) <= SCHEME}
    return Kept(readable, frozenset(digests.keys() - found.keys()))


Written = tuple[str, str, str]  # the digest, and which state of its row this is


def written_now(signatures: Iterable[Signature]) -> dict[int, Written]:
    """Which state of its row each kept content is in now, by signature: one query.

    A row written again is in another state, also within one transaction. Only what does not go
    through SQL can bring one back (a table written anew, a restore, a number that came round): the
    state says when to read again, and the digest with it what was read.
    """
    digests = {each.pk: each.digest for each in signatures}
    rows = SignedContent.objects.filter(pk__in=digests).annotate(
        written=RawSQL("people_signedcontent.xmin::text", (), TextField()),
        lies=RawSQL("people_signedcontent.ctid::text", (), TextField()),
    )
    told = rows.values_list("pk", "written", "lies")
    return {pk: (digests[pk], written, lies) for pk, written, lies in told}


def signed_rows(
    model: type[Model], path: str = "signature"
) -> Callable[[Collection[int]], Mapping[int, int]]:
    """How to find the signature that rows of a model stand under, by the rows' numbers."""

    def signatures(ids: Collection[int]) -> Mapping[int, int]:
        signed = model._base_manager.filter(pk__in=ids).exclude(**{path: None})
        return dict(signed.values_list("pk", path))

    return signatures
