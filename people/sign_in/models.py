"""Second factors, and the library's own addresses, as the history sees them."""

from allauth.account.models import EmailAddress, EmailConfirmation
from allauth.mfa.models import Authenticator

from audit.capture.governed import exempt_label, governed

exempt_label("mfa.Authenticator", "recorded through people.SecondFactor, the same table")


class SecondFactor(Authenticator):  # type: ignore[misc]  # the library has no types
    """An authenticator app, passkey or set of recovery codes; that it is there, never its secret.

    Only here to put triggers on the library's table; read and written through the library.
    """

    class Meta:
        proxy = True
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            exclude=("last_used_at",),
            secret=("data",),
        )

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


# Other packages' tables that leave no history, each with the reason.

exempt_label("sessions.Session", "who is signed in at this moment; ended by itself")
exempt_label("contenttypes.ContentType", "Django's list of models, written by migrations")
exempt_label("auth.Permission", "Django's; nobody's rights come from it (people.persons.verbs)")
exempt_label("auth.Group", "Django's; not used")
exempt_label("auth.Group_permissions", "Django's; not used")
