"""A stored signature checked whole: what was signed, and the passkey that signed it."""

from collections.abc import Collection, Iterator, Sequence
from itertools import islice

from audit.registry import ContentShown, SignatureShown, whole_of
from people.passkeys.models import KeyEvent, why_unproven
from people.signatures.models import Manner, Signature

CHUNK = 1000  # signatures looked at together


def check_whole(signed: Signature) -> ContentShown:
    """Whether a stored signature still holds in every part; why not, in words.

    The content's digest is worked out again, and the arithmetic of a passkey's answer done anew
    with the key its history gives. ``same`` is None where nothing can tell.
    """
    return whole_of(shown(signed))


def signatures_shown(ids: Collection[int]) -> dict[int, SignatureShown]:
    """The signatures of those numbers, by number. Two queries."""
    rows = Signature.objects.select_related("assertion__key").filter(pk__in=ids)
    return {seen.pk: seen for seen in _shown(list(rows))}


def every_signature() -> Iterator[SignatureShown]:
    """All signatures, the oldest first."""
    rows = Signature.objects.select_related("assertion__key").order_by("pk").iterator()
    while chunk := list(islice(rows, CHUNK)):
        yield from _shown(chunk)


def shown(signed: Signature) -> SignatureShown:
    """A signature as it must be shown; a passkey's is verified for it."""
    return next(_shown([signed]))


def _shown(signatures: Sequence[Signature]) -> Iterator[SignatureShown]:
    keys = {each.assertion.key.factor_id for each in signatures if each.assertion}
    events = KeyEvent.objects.of_factors(keys)
    for signed in signatures:
        manner, proven = _manner(signed, events)
        yield SignatureShown(
            name=signed.name,
            role=signed.get_role_display(),
            meaning=signed.get_meaning_display(),
            at=signed.at,
            digest=signed.digest,
            note=signed.note,
            manner=manner,
            proven=proven,
            pk=signed.pk,
            about=signed.subject_type,
            about_id=signed.subject_id,
        )


def _manner(signed: Signature, events: Sequence[KeyEvent]) -> tuple[str, bool | None]:
    """How it was given, in words, and whether that was proven; None where it can't be."""
    if signed.manner != Manner.PASSKEY:
        return signed.get_manner_display(), None
    named = f"With passkey “{_label(signed, events)}”"
    why = why_unproven(signed.said(), signed.at, signed.assertion, events)
    return (f"{named}, NOT verified: {why}", False) if why else (f"{named}, verified", True)


def _label(signed: Signature, events: Sequence[KeyEvent]) -> str:
    """What its person called it then."""
    if signed.assertion is None:
        return "?"
    key = signed.assertion.key
    then = [each.label for each in events if each.same_key(key) and each.at <= signed.at]
    return then[-1] if then else key.label
