"""The token in links to set a password, those by mail and those an owner makes."""

from django.contrib.auth.tokens import PasswordResetTokenGenerator

from people.persons.models import User


class LinkTokens(PasswordResetTokenGenerator):
    """Django's own, which ends with its first use and when the address changes.

    The library's would note the address of the moment as a second one, by which somebody could go
    on signing in, or be sent a link, after an owner had changed it.
    """

    def check_token(self, user: User | None, token: str | None) -> bool:
        """And it is nothing to somebody whose sign-in was ended."""
        return bool(user and user.is_active) and super().check_token(user, token)
