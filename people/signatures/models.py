"""What somebody put their name to."""

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.capture.governed import exempt, governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, insert_only, refusal
from audit.ledger.passkeys import Said
from people.passkeys.guards import ANSWERED
from people.passkeys.models import Assertion
from people.persons.verbs import Role
from people.signatures.rules import AS_ASKED, Meaning, SigningRule

__all__ = ["Manner", "Meaning", "Signature", "SignedContent", "SigningRule"]

# The database's own clock, whatever the program says: nobody can date a signature back.
STAMP = FirmTrigger(
    name="stamp_signature",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="NEW.at := clock_timestamp(); RETURN NEW;",
)


class Manner(models.TextChoices):
    """By what the signer showed that it was they."""

    PASSWORD = "password", "By password"
    PASSWORD_AND_CODE = "password_code", "By password and code"
    PASSKEY = "passkey", "By passkey"
    SINGLE = "single", "By single sign-on"
    SINGLE_AND_CODE = "single_code", "By single sign-on and code"


# Whoever has a second factor signs with it. Spare codes come and go with the others.
ALONE = """
IF NEW.manner IN ('password', 'single') AND EXISTS (
    SELECT 1 FROM mfa_authenticator f
    WHERE f.user_id = NEW.user_id AND f.type <> 'recovery_codes'
) THEN {refusal} END IF;
RETURN NEW;
"""
FACTOR = FirmTrigger(
    name="a_guard_factor",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=ALONE.format(refusal=refusal("A signature in % needs the second factor of who has one.")),
)

# A password here is what counts where there is one: "!" stands before what is none (Django).
UNCONNECTED = """
IF NEW.manner IN ('single', 'single_code') AND NOT EXISTS (
    SELECT 1 FROM people_user u JOIN socialaccount_socialaccount c ON c.user_id = u.id
    WHERE u.id = NEW.user_id AND starts_with(u.password, '!')
) THEN {refusal} END IF;
RETURN NEW;
"""
CONNECTED = FirmTrigger(
    name="a_guard_single",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=UNCONNECTED.format(
        refusal=refusal(
            "A signature in % by single sign-on is of who is connected, without password."
        )
    ),
)


class Signature(models.Model):
    """Who, in which role, when, with which meaning, over the digest of what was seen.

    Written by people.signatures.signing.sign only; the database refuses any later change.
    """

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="signatures"
    )
    # Printed as it was then, so that a later change of name does not rewrite it.
    name = models.CharField("printed name", max_length=80)
    role = models.CharField(max_length=20, choices=Role.choices)
    meaning = models.CharField(max_length=20, choices=Meaning.choices)
    at = models.DateTimeField("signed at", db_default=Now(), editable=False)
    digest = models.CharField("SHA-256 of what was seen, in hex", max_length=64)
    subject_type = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    note = models.CharField(max_length=200, blank=True, default="")
    manner = models.CharField(max_length=20, choices=Manner.choices, default=Manner.PASSWORD)
    # One answer for one signature.
    assertion = models.OneToOneField(
        Assertion, models.PROTECT, null=True, blank=True, related_name="signed"
    )

    class Meta:
        ordering = ["-pk"]
        triggers = [
            STAMP,
            FACTOR,
            CONNECTED,
            ANSWERED,
            AS_ASKED,
            *insert_only("signature"),
            *governed(subject="signature", label="n.name || ', ' || n.role || ': ' || n.meaning"),
        ]
        indexes = [
            models.Index(fields=["subject_type", "subject_id"], name="signature_of_subject"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(digest__regex=r"^[0-9a-f]{64}$"), name="signature_digest_is_hex"
            ),
            one_of("role", Role, name="signature_role_is_known"),
            one_of("meaning", Meaning, name="signature_meaning_is_known"),
            one_of("manner", Manner, name="signature_manner_is_known"),
            models.CheckConstraint(
                condition=models.Q(manner=Manner.PASSKEY, assertion__isnull=False)
                | models.Q(assertion__isnull=True) & ~models.Q(manner=Manner.PASSKEY),
                name="signature_by_passkey_has_its_answer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_meaning_display()}: {self.name}, {self.get_role_display()}"

    def said(self) -> Said:
        """What a passkey's statement about it must say."""
        return {
            "signer": self.user_id,
            "name": self.name,
            "role": str(self.role),
            "meaning": str(self.meaning),
            "digest": self.digest,
            "subject_type": self.subject_type,
            "subject_id": self.subject_id,
            "note": self.note,
        }


# What somebody saw when they signed, byte for byte.

DIGEST = "encode(sha256(convert_to(NEW.canonical, 'UTF8')), 'hex')"
SIGNED = "(SELECT s.digest FROM people_signature s WHERE s.id = NEW.signature_id)"
OTHER = refusal("Content in % must have the digest that was signed.")


@exempt("its digest stands in the signature, which is governed: no change of it could go unseen")
class SignedContent(models.Model):
    """The RFC 8785 bytes, as text, whose SHA-256 a signature binds. Insert-only.

    Kept for what can't be worked out again from other rows: plans, and policies long replaced.
    """

    signature = models.OneToOneField(
        Signature, models.PROTECT, primary_key=True, related_name="content"
    )
    canonical = models.TextField()

    class Meta:
        """Nobody can lay other content beside a signature."""

        triggers = [
            FirmTrigger(
                name="a_guard_digest",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=f"IF {DIGEST} IS DISTINCT FROM {SIGNED} THEN {OTHER} END IF; RETURN NEW;",
            ),
            *insert_only("signed_content"),
        ]

    def __str__(self) -> str:
        return f"content of signature {self.pk}"
