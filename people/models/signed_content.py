"""What somebody saw when they signed, byte for byte."""

import pgtrigger
from django.db import models

from audit.governed import exempt
from audit.triggers import FirmTrigger, insert_only, refusal
from people.models.signature import Signature

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
