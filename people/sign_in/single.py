"""Single sign-on by OpenID Connect: who gets in, and what is kept of it.

The provider is named by settings alone. It lets in people who are here already: by the issuer and
subject kept of them, or the first time by an address that it says is verified. The library's own
matching is left off: it wipes the password of whoever it finds by address.
"""

import time
from typing import Any
from urllib.parse import urlsplit

from allauth.core.exceptions import ImmediateHttpResponse
from allauth.socialaccount.adapter import DefaultSocialAccountAdapter, _build_apps_from_settings
from allauth.socialaccount.models import SocialAccount, SocialApp, SocialLogin
from allauth.socialaccount.providers.openid_connect import views
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode

from audit.capture.context import recorded
from audit.errors import NotFound, Refused
from audit.vocabulary import register
from people.confirming.lately import UNPROVEN
from people.persons.actions import subject_of
from people.persons.models import User
from people.persons.somebodys import require_over
from people.sign_in.sessions import refuse_sign_in
from people.sign_in.vouching import answered, question_of

CONNECTED = register("single.connected", "Connected single sign-on")
DISCONNECTED = register("single.disconnected", "Disconnected single sign-on")

NOT_HERE = (
    "Nobody here can be signed in by that. An owner adds people, by the address that your"
    " organisation has verified."
)
FAILED = "Single sign-on did not come to its end. Try again, or sign in with your password."
ADDRESS = ("email", "email_verified")
AGAIN = {"prompt": "login", "max_age": "0"}  # OpenID Connect Core 1.0, 3.1.2.1


class SingleSignOn(DefaultSocialAccountAdapter):  # type: ignore[misc]  # the library has no types
    """Named in SOCIALACCOUNT_ADAPTER."""

    def list_apps(
        self, request: HttpRequest, provider: str | None = None, client_id: str | None = None
    ) -> list[SocialApp]:
        """The provider of the settings; a row in the database would be somebody's with SQL."""
        named = _build_apps_from_settings(provider=provider, client_id=client_id)
        return [app for apps in named.values() for app in apps]

    def is_open_for_signup(self, request: HttpRequest, sociallogin: SocialLogin) -> bool:
        """Never: an owner adds people."""
        return False

    def pre_social_login(self, request: HttpRequest, sociallogin: SocialLogin) -> None:
        """Let in, connect, or refuse. Raises ImmediateHttpResponse."""
        claims = _claims(sociallogin)
        person = _person(sociallogin, claims)
        if person is None or not person.is_active or sociallogin.state.get("process") != "login":
            about = subject_of(person) if person else None
            refuse_sign_in(request, "A single sign-on was for nobody who may sign in.", about)
            raise _back_to_sign_in(request, NOT_HERE)
        _vouch(request, sociallogin, person, claims)
        if not _typed_lately(claims):
            setattr(request, UNPROVEN, True)
        _keep(sociallogin, person, claims)

    def on_authentication_error(
        self, request: HttpRequest, provider: object, *_: object, **__: object
    ) -> None:
        """Refused, cancelled, or not what was asked for. Raises ImmediateHttpResponse."""
        refuse_sign_in(request, "A single sign-on failed at the provider.", None)
        raise _back_to_sign_in(request, FAILED)


def _back_to_sign_in(request: HttpRequest, why: str) -> ImmediateHttpResponse:
    messages.error(request, why)
    return ImmediateHttpResponse(
        redirect("/" if request.user.is_authenticated else "account_login")
    )


Claims = dict[str, Any]


def _vouch(request: HttpRequest, sociallogin: SocialLogin, person: User, claims: Claims) -> None:
    """Where it is for a signature nobody is signed in anew. Raises ImmediateHttpResponse."""
    try:
        if not (sociallogin.is_existing and answered(request, person, claims)):
            return
    except Refused as refused:
        refuse_sign_in(
            request, "A single sign-on for a signature was not of then.", subject_of(person)
        )
        messages.error(request, refused.message)
    raise ImmediateHttpResponse(redirect(sociallogin.get_redirect_url(request) or "/"))


def _claims(sociallogin: SocialLogin) -> Claims:
    """What the ID token says, checked by the library; and an address, also if the answer to a
    question has it: of when and for what they proved it that may say what they entered there.

    Nothing if that answer is about somebody else (OpenID Connect Core 1.0, 5.3.2), if there is no
    ID token, or if another issuer made it than the settings name.
    """
    given: Claims = sociallogin.account.extra_data
    token: Claims = given.get("id_token") or {}
    asked: Claims = given.get("userinfo") or {}
    if str(token.get("iss", "")).rstrip("/") != settings.OIDC_ISSUER:
        return {}
    if not token.get("sub") or asked.get("sub", token["sub"]) != token["sub"]:
        return {}
    return {**{name: asked[name] for name in ADDRESS if name in asked}, **token}


def _person(sociallogin: SocialLogin, claims: Claims) -> User | None:
    """Whose issuer and subject this is; else whose address, if it is verified.

    Once somebody is connected, an address is nothing: the provider may have given it to another.
    """
    if not claims:
        return None
    if isinstance(sociallogin.user, User) and sociallogin.is_existing:
        return sociallogin.user
    address = str(claims.get("email", "")).strip().lower()
    if claims.get("email_verified") is not True or not address:
        return None
    provider = sociallogin.account.provider
    taken = SocialAccount.objects.filter(provider=provider).values("user")
    return User.objects.filter(email=address).exclude(pk__in=taken).first()


def _typed_lately(claims: Claims) -> bool:
    """Whether the provider says that they proved who they are there, not that a browser had."""
    at = claims.get("auth_time")
    lately = settings.ACCOUNT_REAUTHENTICATION_TIMEOUT
    return isinstance(at, int | float) and time.time() - at < lately


def _keep(sociallogin: SocialLogin, person: User, claims: Claims) -> None:
    """Issuer and subject, and nothing else of what the provider told."""
    account = sociallogin.account
    account.extra_data = {"issuer": claims["iss"]}
    if sociallogin.is_existing:
        SocialAccount.objects.filter(pk=account.pk).update(extra_data=account.extra_data)
        return
    sociallogin.user = account.user = person
    with recorded(by=person, action=CONNECTED, subject=subject_of(person)):
        account.save(force_insert=True)


# The pages.


def single_login(request: HttpRequest, provider_id: str) -> HttpResponse:
    """On to the provider; whoever is signed in already is asked there who they are, once more.

    Nothing in the address but where to go on to: the library would pass anything along.
    """
    allowed = request.GET.get("next", "")
    if not url_has_allowed_host_and_scheme(allowed, {request.get_host()}):
        allowed = "/"
    again = {"auth_params": urlencode(_again(request))} if request.user.is_authenticated else {}
    query = request.GET.copy()
    query.clear()
    query.update({"next": allowed, "process": "login", **again})
    request.GET = query  # type: ignore[assignment]
    answer: HttpResponse = views.login(request, provider_id=provider_id)
    return answer


def _again(request: HttpRequest) -> dict[str, str]:
    """Asked anew who they are; for a signature, with what the answer has to name."""
    question = question_of(request) if request.GET.get("for") == "signature" else None
    return {**AGAIN, "nonce": question.nonce} if question else AGAIN


def single_sign_on() -> dict[str, str] | None:
    """The provider's name and the address that leads to it; None where none is set."""
    if not settings.OIDC_ISSUER:
        return None
    url = reverse("openid_connect_login", kwargs={"provider_id": settings.OIDC_ID})
    name = str(settings.OIDC_NAME) or str(urlsplit(str(settings.OIDC_ISSUER)).hostname)
    return {"name": name, "url": url}


def account_of(person: User) -> SocialAccount | None:
    """How the provider knows somebody, once they are connected."""
    mine = SocialAccount.objects.filter(user_id=person.pk, provider=settings.OIDC_ID)
    found: SocialAccount | None = mine.first() if settings.OIDC_ISSUER else None
    return found


def disconnect(*, by: User, person: User, subject: str) -> None:
    """Forget issuer and subject: the next single sign-on needs a verified address again.

    subject: the one that was looked at. Raises NotPermitted for somebody else's, and NotFound if
    it is gone.
    """
    with recorded(by=by, action=DISCONNECTED, subject=subject_of(person)):
        require_over(by, person.pk, "disconnect single sign-on", subject_of(person))
        kept = SocialAccount.objects.filter(user_id=person.pk, uid=subject)
        if not kept.delete()[0]:
            raise NotFound("Single sign-on is not connected that way any more.")


def way_to_confirm() -> dict[str, str] | None:
    """Proving it at the provider, for whoever has nothing here to prove it with."""
    way = single_sign_on()
    return {"id": "single", "description": "", "url": way["url"]} if way else None
