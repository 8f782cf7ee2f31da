"""Second factors as the history sees them."""

from allauth.mfa.models import Authenticator

from audit.governed import exempt_label, governed

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
            exclude=("data", "last_used_at"),
        )

    def __str__(self) -> str:
        return str(self.get_type_display())
