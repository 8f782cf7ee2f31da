"""Where allauth meets this product: closed sign-up, own addresses, password changes recorded."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

from audit.context import record_refusal, recorded
from audit.errors import Refused
from audit.subject import Subject
from people import history
from people.models import User
from people.web.addresses import client_address


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library has no types
    """Named in ACCOUNT_ADAPTER."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Never: an owner adds people."""
        return False

    def set_password(self, user: User, password: str) -> None:
        """Set one's own password, changed or by a link; that it happened is in the history."""
        with recorded(by=user, action=history.PASSWORD_SET):
            user.set_password(password)
            user.save(update_fields=["password", "password_set_at"])

    def reauthenticate(self, user: User, password: str) -> bool:
        """By the one address people have here; allauth would look among its own."""
        again = self.authenticate(self.request, email=user.email, password=password)
        return again is not None and again.pk == user.pk

    def authentication_failed(self, request: HttpRequest, **credentials: object) -> None:
        """Into the history, in the same way whether the address is known here or not.

        What was typed is left out: people type passwords into the wrong box.
        """
        typed = str(credentials.get("email", "")).strip().lower()
        person = User.objects.filter(email=typed).first()
        about = Subject("person", person.pk, person.name) if person else None
        wrong = Refused("A sign-in was tried with a wrong address or password.", subject=about)
        record_refusal(wrong, by=None, action=history.SIGN_IN_REFUSED)

    def get_client_ip(self, request: HttpRequest) -> str:
        """As the history notes it, so that limits and history name the same address."""
        return client_address(request) or super().get_client_ip(request)
