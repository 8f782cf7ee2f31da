"""Sessions, second factors, and the library's own addresses, as the history sees them."""

from typing import Self

from allauth.account.models import EmailAddress, EmailConfirmation
from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount
from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.capture.governed import exempt_label, governed
from audit.capture.models import one_of
from people.passkeys.guards import KEPT_HISTORY
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb

exempt_label("mfa.Authenticator", "recorded through people.SecondFactor, the same table")


class SecondFactor(Authenticator):  # type: ignore[misc]  # the library has no types
    """An authenticator app, passkey or set of recovery codes; that it is there, never its secret.

    Only here to put triggers on the library's table; read and written through the library.
    """

    class Meta:
        proxy = True
        triggers = [
            KEPT_HISTORY,
            *governed(
                subject="person",
                subject_id="n.user_id",
                label="(SELECT name FROM people_user WHERE id = n.user_id)",
                exclude=("last_used_at",),
                secret=("data",),
            ),
        ]

    def __str__(self) -> str:
        return str(self.get_type_display())


exempt_label("account.EmailAddress", "recorded through people.LibraryAddress, the same table")
exempt_label("account.EmailConfirmation", "recorded through people.LibraryKey, the same table")


class LibraryAddress(EmailAddress):  # type: ignore[misc]  # the library has no types
    """The library's own address of a person, by which one could sign in: nothing writes any."""

    class Meta:
        proxy = True
        triggers = governed(subject="person", subject_id="n.user_id", label="n.email")


class LibraryKey(EmailConfirmation):  # type: ignore[misc]  # the library has no types
    """The library's own key to confirm such an address; nothing writes any either."""

    class Meta:
        proxy = True
        triggers = governed(
            subject="person",
            subject_id="l.user_id",
            label="l.email",
            lookup="SELECT user_id, email FROM account_emailaddress WHERE id = n.email_address_id",
            secret=("key",),
        )


exempt_label("socialaccount.SocialAccount", "recorded through people.SingleAccount, the same table")


class SingleAccount(SocialAccount):  # type: ignore[misc]  # the library has no types
    """How the provider of single sign-on knows somebody: issuer and subject, nothing else."""

    class Meta:
        proxy = True
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            exclude=("last_login", "extra_data"),
        )


# Other packages' tables that leave no history, each with the reason.

exempt_label("sessions.Session", "what a browser carries along; who it is, in people.SignIn")
exempt_label("socialaccount.SocialApp", "not read: settings alone name the provider")
exempt_label("socialaccount.SocialToken", "not written: no token of the provider is kept")
exempt_label("contenttypes.ContentType", "Django's list of models, written by migrations")
exempt_label("auth.Permission", "Django's; nobody's rights come from it (people.persons.verbs)")
exempt_label("auth.Group", "Django's; not used")
exempt_label("auth.Group_permissions", "Django's; not used")


# Who is signed in where. Kept here rather than in allauth.usersessions: that deletes its rows as
# sessions end, writes with every request to know when one was last used, and does not know by
# which way or factor somebody came in.

CLIENT_LENGTH = 200


class Way(models.TextChoices):
    """How somebody came in."""

    PASSWORD = "password", "password"
    PASSKEY = "passkey", "passkey"
    SINGLE = "single", "single sign-on"
    PIN = "pin", "PIN"


class Factor(models.TextChoices):
    """The second factor that was given besides, by the library's names."""

    APP = "totp", "code app"
    SPARE = "recovery_codes", "spare code"
    PASSKEY = "webauthn", "passkey"


class End(models.TextChoices):
    """How a session came to its end."""

    SIGNED_OUT = "signed_out", "signed out"
    AGAIN = "again", "signed in again there"
    ENDED = "ended", "ended from elsewhere"
    PASSWORD = "password", "password set anew"
    DEACTIVATED = "deactivated", "sign-in ended"
    EXPIRED = "expired", "expired"
    HANDED_OVER = "handed_over", "tablet handed over"
    LEFT_ALONE = "left_alone", "left alone"
    TABLET = "tablet", "tablet revoked or another one"
    PIN = "pin", "PIN set anew or removed"
    ROLE = "role", "no role there any more"


class SignInQuerySet(models.QuerySet["SignIn"]):
    """Queries on sessions."""

    def live(self) -> Self:
        """Those that have not ended, as far as that was noticed."""
        return self.filter(ended_at=None)

    def endable_by(self, person: User) -> Self:
        """One's own; everybody's for those who manage people."""
        return self if may(person, Verb.PEOPLE_MANAGE) else self.filter(user_id=person.pk)


class SignIn(models.Model):
    """A session: somebody signed in at one browser, from when to when."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sign_ins"
    )
    # Empty once it has ended: what leads to nobody's session is not worth keeping.
    session_key = models.CharField(max_length=40, null=True, unique=True, editable=False)  # noqa: DJ001 - as said
    way = models.CharField(max_length=10, choices=Way)
    factor = models.CharField("second factor", max_length=20, choices=Factor, blank=True)
    # Where it began at an enrolled tablet.
    tablet = models.ForeignKey(
        "people.Tablet", models.PROTECT, null=True, related_name="sign_ins", editable=False
    )
    address = models.GenericIPAddressField("from", null=True)
    client = models.CharField("with", max_length=CLIENT_LENGTH, blank=True)
    begun_at = models.DateTimeField("since", db_default=Now())
    # Kept to ten minutes and outside the history: a note, not a record.
    seen_at = models.DateTimeField("last used", db_default=Now())
    ended_at = models.DateTimeField("until", null=True)
    end = models.CharField("how it ended", max_length=20, choices=End, blank=True)

    objects = SignInQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(fields=["user", "-id"], name="sign_in_of_person"),
            models.Index(fields=["id"], condition=models.Q(ended_at=None), name="sign_in_live"),
        ]
        constraints = [
            one_of("way", Way, name="sign_in_way_is_known"),
            models.CheckConstraint(
                condition=models.Q(factor__in=["", *Factor.values]),
                name="sign_in_factor_is_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(way="pin") | models.Q(tablet__isnull=False),
                name="sign_in_by_pin_is_at_a_tablet",
            ),
            models.CheckConstraint(
                condition=models.Q(ended_at=None, end="")
                | models.Q(ended_at__isnull=False, end__in=End.values, session_key=None),
                name="sign_in_ends_somehow_and_keeps_no_key",
            ),
        ]
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            exclude=("session_key", "seen_at"),
        )

    def __str__(self) -> str:
        return f"session {self.pk}"
