"""Where allauth meets this product: closed sign-up, own addresses, password changes and links."""

from collections.abc import Mapping

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.auth_backends import AuthenticationBackend
from allauth.core.internal import ratelimit
from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from audit.capture.context import recorded
from audit.errors import Subject
from audit.vocabulary import register
from people.persons.actions import subject_of
from people.persons.models import User
from people.persons.permissions import may
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from people.sign_in.models import End
from people.sign_in.sessions import (
    SIGN_IN_ENDED,
    begin,
    end_all,
    here_of,
    refuse_sign_in,
    sign_out,
)
from people.sign_in.single import way_to_confirm
from people.tokens.actions import revoke_all
from web.middleware import client_address

PASSWORD_SET = register("person.password_set", "Set own password")
BY_PASSWORD = "reauthenticate"  # noqa: S105 - the library's name for that way
TOO_OFTEN = "A sign-in was tried too often."
SET_ANEW = "The password was set anew."


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library has no types
    """Named in ACCOUNT_ADAPTER."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Never: an owner adds people."""
        return False

    def set_password(self, user: User, password: str) -> None:
        """Set one's own password, changed or by a link; that it happened is in the history.

        Whoever knew the old one, or has a token made under it, is out: sessions end with the hash.
        """
        with recorded(by=user, action=PASSWORD_SET):
            require_in_full(user, "set a password", subject_of(user))
            user.set_password(password)
            user.save(update_fields=["password", "password_set_at"])
            revoke_all(person=user, reason=SET_ANEW)
            here = here_of(self.request) if self.request.user == user else 0
            with recorded(by=user, action=SIGN_IN_ENDED, reason=SET_ANEW):
                end_all(user, End.PASSWORD, but=here)

    def login(self, request: HttpRequest, user: User) -> None:
        """The one place where every way in ends, second factor and all."""
        super().login(request, user)
        begin(request, user)

    def logout(self, request: HttpRequest) -> None:
        """Sign out, and note it."""
        sign_out(request)
        super().logout(request)

    def get_reauthentication_methods(self, user: User) -> list[dict[str, str]]:
        """The second factor of whoever has one: then the password alone confirms nothing.

        Whoever has neither here proves it where they sign in.
        """
        ways: list[dict[str, str]] = super().get_reauthentication_methods(user)
        here = [way for way in ways if way["id"] != BY_PASSWORD] or ways
        elsewhere = way_to_confirm()
        return here or ([elsewhere] if elsewhere else [])

    def reauthenticate(self, user: User, password: str) -> bool:
        """By the one address people have here; allauth would look among its own."""
        again = self.authenticate(self.request, email=user.email, password=password)
        return again is not None and again.pk == user.pk

    def pre_authenticate(self, request: HttpRequest, **credentials: object) -> None:
        """Guesses lock an address for the client they come from, so that nobody is shut out by it.

        Past the wider limit of the address, any client has one try a minute. Raises
        ValidationError.
        """
        try:
            super().pre_authenticate(request, **credentials)
        except ValidationError:
            refuse_sign_in(request, TOO_OFTEN, _about(credentials))
            raise
        address = super()._get_login_attempts_cache_key(request, **credentials)
        here = self._get_login_attempts_cache_key(request, **credentials)
        self._of_address = _counted(request, "login_address", address)
        if not self._of_address and not _counted(request, "login_slowed", here):
            refuse_sign_in(request, TOO_OFTEN, _about(credentials))
            raise self.validation_error("too_many_login_attempts")

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: object) -> str:
        address = super()._get_login_attempts_cache_key(request, **credentials)
        return f"{address}:{self.get_client_ip(request)}"

    def _rollback_login_failed_rl_usage(self) -> None:
        """The password was right: it counts for neither limit."""
        super()._rollback_login_failed_rl_usage()
        if self._of_address:
            self._of_address.rollback()

    def authentication_failed(self, request: HttpRequest, **credentials: object) -> None:
        """Into the history, in the same way whether the address is known here or not.

        What was typed is left out: people type passwords into the wrong box.
        """
        wrong = "A sign-in was tried with a wrong address or password."
        refuse_sign_in(request, wrong, _about(credentials))

    def get_client_ip(self, request: HttpRequest) -> str:
        """As the history notes it, so that limits and history name the same address."""
        return client_address(request) or super().get_client_ip(request)


def _about(credentials: Mapping[str, object]) -> Subject | None:
    """Whose sign-in was tried, if the address is known here."""
    typed = str(credentials.get("email", "")).strip().lower()
    person = User.objects.filter(email=typed).first()
    return subject_of(person) if person else None


def _counted(request: HttpRequest, action: str, key: str) -> ratelimit.RateLimitUsage | None:
    """One try against a limit of ACCOUNT_RATE_LIMITS; None where it is used up."""
    return ratelimit.consume(request, app="allauth.account", action=action, key=key)


# Signing in by e-mail and password (allauth's), with rights from people.persons.verbs.

# Django's names for rights, where a library or another layer asks by them.
PERMISSIONS: dict[str, Verb] = {
    "audit.view_entry": Verb.HISTORY_VIEW,
    "audit.view_matter": Verb.RECIPE_HISTORY,
    "people.view_user": Verb.PEOPLE_MANAGE,
    "people.add_user": Verb.PEOPLE_MANAGE,
    "people.change_user": Verb.PEOPLE_MANAGE,
    "people.change_policy": Verb.POLICY_SET,
    "people.add_apitoken": Verb.TOKEN_MAKE,
    "stations.view_site": Verb.EQUIPMENT_VIEW,
    "stations.change_site": Verb.SITE_EDIT,
    "recipes.view_recipe": Verb.RECIPE_VIEW,
    "recipes.change_recipe": Verb.RECIPE_DRAFT,
}


class RoleBackend(AuthenticationBackend):  # type: ignore[misc]  # the library has no types
    """One backend, so that there is one answer. Nobody has rights by Django's own tables."""

    def has_perm(
        self,
        user_obj: AbstractBaseUser | AnonymousUser,
        perm: str,
        obj: object = None,
    ) -> bool:
        """Whether some role allows the verb behind the name; False for a name not listed."""
        verb = PERMISSIONS.get(perm)
        return verb is not None and isinstance(user_obj, User) and may(user_obj, verb)

    def get_all_permissions(
        self, user_obj: AbstractBaseUser | AnonymousUser, obj: object = None
    ) -> set[str]:
        """All the names that has_perm says yes to."""
        return {name for name in PERMISSIONS if self.has_perm(user_obj, name)}


class LinkTokens(PasswordResetTokenGenerator):
    """Django's own, which ends with its first use and when the address changes.

    The library's would note the address of the moment as a second one, by which somebody could go
    on signing in, or be sent a link, after an owner had changed it.
    """

    def check_token(self, user: User | None, token: str | None) -> bool:
        """And it is nothing to somebody whose sign-in was ended."""
        return bool(user and user.is_active) and super().check_token(user, token)
