"""What the house asks of those who sign: a second factor or a passkey, by role and by meaning.

Set with the signed policy (people.policy); asked here before anything is typed into a signature,
and by the database once more.
"""

from collections.abc import Iterable, Mapping

import pgtrigger
from django.db import models

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, refusal
from audit.errors import Refused, Subject
from people.confirming.codes import Factors
from people.persons.verbs import MAY, Role, Verb


class Meaning(models.TextChoices):
    """What the signature says about the content whose digest it carries."""

    APPROVED = "approved", "Approved"
    PUBLISHED = "published", "Published"
    PERMITTED = "permitted", "Permitted to differ"
    POLICY_SET = "policy_set", "Policy set"
    RE_TRANSLATED = "re_translated", "Re-translated"


VERBS: Mapping[str, Verb] = {
    Meaning.APPROVED: Verb.RECIPE_APPROVE,
    Meaning.PUBLISHED: Verb.PUBLICATION_SIGN,
    Meaning.PERMITTED: Verb.PERMIT_GRANT,
    Meaning.POLICY_SET: Verb.POLICY_SET,
    Meaning.RE_TRANSLATED: Verb.CALIBRATION_RECORD,
}
"""What whoever signs with that meaning must be allowed to do."""

SIGNERS = tuple(role for role in Role if any(role in MAY[verb] for verb in VERBS.values()))
"""The roles that sign anything."""


class Need(models.TextChoices):
    """What is asked beyond the password, the weaker first."""

    CODE = "code", "Second factor"
    PASSKEY = "passkey", "Passkey"


class SigningRule(models.Model):
    """Signatures with this meaning, or of this role, need this. An empty one stands for all."""

    meaning = models.CharField(max_length=20, choices=Meaning.choices, blank=True, default="")
    role = models.CharField(max_length=20, choices=Role.choices, blank=True, default="")
    needs = models.CharField(max_length=20, choices=Need.choices)

    class Meta:
        triggers = governed(
            subject="policy", subject_id="1", label="'Policy: ' || n.meaning || n.role"
        )
        constraints = [
            models.UniqueConstraint(fields=["meaning", "role"], name="signing_rule_once"),
            models.CheckConstraint(
                condition=models.Q(meaning__in=["", *Meaning.values])
                & models.Q(role__in=["", *Role.values]),
                name="signing_rule_is_of_something_known",
            ),
            one_of("needs", Need, name="signing_rule_need_is_known"),
        ]

    def __str__(self) -> str:
        what = self.get_meaning_display() or self.get_role_display() or "All signatures"
        return f"{what}: {self.get_needs_display().lower()}"


# In the database: no signature that is less than the house asks, whatever way it came.
LESS = """
IF NEW.manner <> 'passkey' AND EXISTS (
    SELECT 1 FROM people_signingrule r
    WHERE r.meaning IN ('', NEW.meaning) AND r.role IN ('', NEW.role)
        AND (r.needs = 'passkey' OR NEW.manner IN ('password', 'single'))
) THEN {refusal} END IF;
RETURN NEW;
"""
AS_ASKED = FirmTrigger(
    name="a_guard_rules",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=LESS.format(
        refusal=refusal("A signature in % needs what the house's policy asks for it.")
    ),
)


def strongest(needs: Iterable[str]) -> Need | None:
    """The one that meets the others too; None where nothing is asked."""
    asked = set(needs)
    return next((need for need in reversed(Need) if need in asked), None)


def need_of(meaning: str, roles: Iterable[str]) -> Need | None:
    """What the house asks of such a signature in any of these roles. One query."""
    rules = SigningRule.objects.filter(meaning__in=["", meaning], role__in=["", *roles])
    return strongest(rules.values_list("needs", flat=True))


def as_strong(manner: str, need: Need | None) -> bool:
    """Whether a signature given so (people.signatures.models.Manner) meets the need."""
    enough = {Need.CODE: ("password_code", "single_code", "passkey"), Need.PASSKEY: ("passkey",)}
    return need is None or manner in enough[need]


def meets(factors: Factors, need: Need | None) -> bool:
    """Whether somebody who has these can sign where that is needed."""
    return factors.passkey if need is Need.PASSKEY else need is None or factors.any


def require_means(need: Need | None, factors: Factors, *, by_passkey: bool, about: Subject) -> None:
    """Raise Refused, saying what to do, where what is shown is less than the house asks."""
    if by_passkey or (need is not Need.PASSKEY and meets(factors, need)):
        return
    where = "under “Second factor” in your account"
    if need is Need.PASSKEY and factors.passkey:
        how = "Sign on the page, in a browser, with “Sign with passkey”. A program can't."
    elif need is Need.PASSKEY:
        how = f"Add a passkey {where}, then sign with it."
    else:
        how = f"Set up a code app or add a passkey {where}, then sign with it."
    word = "a passkey" if need is Need.PASSKEY else "a second factor"
    raise Refused(
        f"The house's policy asks for {word} for this signature.", how_to_ask=how, subject=about
    )
