"""The group's policy: one row."""

from django.db import models

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.revision import Revised
from people.signatures.models import Signature


class Boiling(models.TextChoices):
    """What to do with a brew temperature above the local boiling point."""

    ACKNOWLEDGE = "acknowledge", "Flag it and ask for a named acknowledgement"
    REFUSE = "refuse", "Refuse it"


class Policy(Revised):
    """Set by an owner with a signature; until then the careful choices hold, unsigned."""

    sole_roaster = models.BooleanField(
        "a sole roaster may approve their own drafts",
        default=False,
        help_text="Each such approval then says so in its signature and in the history.",
    )
    boiling = models.CharField(
        "brew temperature above the local boiling point",
        max_length=12,
        choices=Boiling.choices,
        default=Boiling.ACKNOWLEDGE,
    )
    witnesses = models.TextField(
        "witnesses of the history that have to see it",
        blank=True,
        default="",
        help_text="Their keys, a line each; none: as the settings say.",
    )
    witnesses_needed = models.PositiveSmallIntegerField("how many of those witnesses", default=0)
    signature = models.ForeignKey(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="policies"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="policy_is_one_row"),
            one_of("boiling", Boiling, name="policy_boiling_is_known"),
            models.CheckConstraint(
                name="policy_names_the_witnesses_it_needs",
                condition=models.Q(witnesses="", witnesses_needed=0)
                | (~models.Q(witnesses="") & models.Q(witnesses_needed__gte=1)),
            ),
        ]
        triggers = governed(subject="policy", label="'Policy'", exclude=("revision",))

    def __str__(self) -> str:
        return "Policy"

    @classmethod
    def current(cls) -> "Policy":
        """The policy in force: the one row, or the unsaved defaults before any was signed."""
        return cls.objects.select_related("signature").filter(pk=1).first() or cls(pk=1)

    @property
    def refuses_above_boiling(self) -> bool:
        """Whether a brew temperature above the local boiling point is refused, not flagged."""
        return self.boiling == Boiling.REFUSE
