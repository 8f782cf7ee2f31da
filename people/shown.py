"""How people and signatures are shown on the history's pages."""

from collections.abc import Iterable, Sequence

from audit.registry import (
    SignatureShown,
    register_content,
    register_people,
    register_signature,
    register_subject,
    register_units,
)
from people.models import Signature, User
from people.printing import unit_label
from people.signed import policy_content

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
