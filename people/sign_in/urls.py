"""Addresses: those of allauth's pages that there are, for signing in and one's account; and ours.

Its pages for signing up and for changing one's own address are left out: an owner does both.
"""

from collections.abc import Callable
from functools import wraps

from allauth.account import views
from allauth.account.internal.flows.login import get_authentication_records
from allauth.account.stages import LoginStageController
from allauth.mfa.base import views as factor
from allauth.mfa.recovery_codes import views as spare
from allauth.mfa.stages import AuthenticateStage
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as passkeys
from allauth.socialaccount.providers.openid_connect import views as openid
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, re_path
from django.utils.http import urlencode

from audit.capture.context import recorded
from audit.vocabulary import register
from people.confirming.lately import confirmed_lately, where_to_confirm
from people.confirming.pages import refuse_pin
from people.persons.models import User
from people.sign_in import api, pages, single
from people.sign_in.actions import FACTOR_USED
from people.sign_in.sessions import refuse_sign_in

OWN_ACCOUNT = register("person.own_account", "Changed own sign-in")


View = Callable[..., HttpResponse]


def not_by_pin(view: View) -> View:
    """Never for whom no more than a PIN vouches for: refused before anything is asked."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        refuse_pin(request)
        return view(request, *args, **kwargs)

    return wrapped


def own(view: View) -> View:
    """What somebody signed in changes about their own sign-in is recorded as theirs."""

    @not_by_pin
    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        if proven_elsewhere_only(request):
            return redirect(f"{where_to_confirm(request)}?{urlencode({'next': request.path})}")
        if request.method != "POST" or not request.user.pk:
            return view(request, *args, **kwargs)
        with recorded(by=request.user, action=OWN_ACCOUNT):
            return view(request, *args, **kwargs)

    return wrapped


def in_person(view: View) -> View:
    """Only for whoever confirmed lately: a first password asks for no old one."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        if request.user.is_authenticated and not confirmed_lately(request):
            return redirect(f"{where_to_confirm(request)}?{urlencode({'next': request.path})}")
        return view(request, *args, **kwargs)

    return wrapped


def proven_elsewhere_only(request: HttpRequest) -> bool:
    """Whether single sign-on let them in with no word of when they proved it over there.

    The library would take that for a confirmation; a browser left signed in there gives it too.
    """
    notes = get_authentication_records(request, request.user)
    return bool(notes) and notes[-1]["method"] == "socialaccount"


def by_the_first_way(view: View) -> View:
    """Confirming by password is not for somebody who has a second factor."""

    @not_by_pin
    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        way = where_to_confirm(request) if request.user.is_authenticated else request.path
        if way != request.path:
            query = request.META.get("QUERY_STRING", "")
            return redirect(f"{way}?{query}" if query else way)
        return view(request, *args, **kwargs)

    return wrapped


def by_factor(view: View) -> View:
    """A spare code is used up as it is given: an entry of whoever is signing in by it."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        person = _signing_in(request) if request.method == "POST" else None
        if person is None:
            return view(request, *args, **kwargs)
        with recorded(by=person, action=FACTOR_USED):
            return view(request, *args, **kwargs)

    return wrapped


def by_passkey(view: View) -> View:
    """A passkey that does not fit is an attempt to sign in like a wrong password."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        answer = view(request, *args, **kwargs)
        if request.method == "POST" and not request.user.is_authenticated:
            refuse_sign_in(request, "A sign-in was tried with a passkey that does not fit.", None)
        return answer

    return wrapped


def _signing_in(request: HttpRequest) -> User | None:
    """Signed in, or past the password and asked for the factor."""
    if isinstance(request.user, User):
        return request.user
    stage = LoginStageController.enter(request, AuthenticateStage.key)
    person = stage.login.user if stage else None
    return person if isinstance(person, User) else None


SIGN_IN: list[URLPattern] = [
    path("login/", views.login, name="account_login"),
    path("logout/", views.logout, name="account_logout"),
    path("inactive/", views.account_inactive, name="account_inactive"),
    # Closed by the adapter; the library links to it by name.
    path("signup/", views.signup, name="account_signup"),
    path("reauthenticate/", by_the_first_way(views.reauthenticate), name="account_reauthenticate"),
]
PASSWORD: list[URLPattern] = [
    path("password/change/", own(views.password_change), name="account_change_password"),
    path("password/set/", own(in_person(views.password_set)), name="account_set_password"),
    path("password/reset/", views.password_reset, name="account_reset_password"),
    path("password/reset/sent/", views.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        views.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "password/reset/key/done/",
        views.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
]
FACTOR = "second-factor/"
SECOND_FACTOR: list[URLPattern] = [
    path(FACTOR, factor.index, name="mfa_index"),
    path(f"{FACTOR}authenticate/", by_factor(factor.authenticate), name="mfa_authenticate"),
    path(
        f"{FACTOR}reauthenticate/",
        not_by_pin(by_factor(factor.reauthenticate)),
        name="mfa_reauthenticate",
    ),
    path(f"{FACTOR}app/activate/", own(totp.activate_totp), name="mfa_activate_totp"),
    path(f"{FACTOR}app/deactivate/", own(totp.deactivate_totp), name="mfa_deactivate_totp"),
    path(f"{FACTOR}codes/", own(spare.view_recovery_codes), name="mfa_view_recovery_codes"),
    path(
        f"{FACTOR}codes/generate/",
        own(spare.generate_recovery_codes),
        name="mfa_generate_recovery_codes",
    ),
    path(
        f"{FACTOR}codes/download/",
        not_by_pin(spare.download_recovery_codes),
        name="mfa_download_recovery_codes",
    ),
]
KEYS = f"{FACTOR}passkeys/"
PASSKEYS: list[URLPattern] = [
    path(KEYS, passkeys.list_webauthn, name="mfa_list_webauthn"),
    path(f"{KEYS}add/", own(passkeys.add_webauthn), name="mfa_add_webauthn"),
    path(f"{KEYS}login/", by_passkey(passkeys.login_webauthn), name="mfa_login_webauthn"),
    path(
        f"{KEYS}reauthenticate/",
        not_by_pin(passkeys.reauthenticate_webauthn),
        name="mfa_reauthenticate_webauthn",
    ),
    path(f"{KEYS}<int:pk>/edit/", own(passkeys.edit_webauthn), name="mfa_edit_webauthn"),
    path(f"{KEYS}<int:pk>/remove/", own(passkeys.remove_webauthn), name="mfa_remove_webauthn"),
]
SINGLE = "single/<slug:provider_id>/login/"
SINGLE_SIGN_ON: list[URLPattern] = [
    path(SINGLE, single.single_login, name="openid_connect_login"),
    path(f"{SINGLE}callback/", openid.callback, name="openid_connect_callback"),
]
urlpatterns: list[URLPattern] = [
    *SIGN_IN, *PASSWORD, *SECOND_FACTOR, *PASSKEYS, *SINGLE_SIGN_ON,
]  # fmt: skip

# An owner's: ending somebody's sign-in, and allowing it again.

PERSON = "people/<int:pk>"
page_urls: list[URLPattern] = [
    path(f"{PERSON}/end-sign-in/", pages.sign_in_allowed, {"allowed": False}, name="deactivate"),
    path("account/sessions/", pages.own_sessions, name="sessions"),
    path("account/sessions/end-others/", pages.end_others, name="sessions_end"),
    path("sessions/<int:pk>/end/", pages.end, name="session_end"),
    path(f"{PERSON}/disconnect/", pages.disconnect_single, name="disconnect"),
    path("account/disconnect/", pages.disconnect_own, name="disconnect_own"),
    path(f"{PERSON}/end-sessions/", pages.end_all_of, name="person_sessions_end"),
    path(f"{PERSON}/allow-sign-in/", pages.sign_in_allowed, {"allowed": True}, name="reactivate"),
]
api_urls: list[URLPattern] = [
    path("sessions/", api.OwnSessions.as_view(), name="sessions"),
    path("sessions/<int:pk>/end/", api.SessionEnd.as_view(), name="session_end"),
    path(f"{PERSON}/access/", api.Access.as_view(), name="access"),
    path(f"{PERSON}/deactivate/", api.Deactivation.as_view(), name="deactivate"),
    path(f"{PERSON}/reactivate/", api.Reactivation.as_view(), name="reactivate"),
]
