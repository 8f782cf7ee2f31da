"""Pages of the tablet itself: enrolling it, choosing who one is, the PIN, and leaving."""

from allauth.core.internal import ratelimit
from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from audit.errors import DomainError, Invalid, Refused
from people.persons.models import User
from people.pins.common import MOST
from people.sign_in.models import End
from people.sign_in.sessions import refuse_sign_in
from people.tablets.actions import enrol
from people.tablets.handing_over import leave
from people.tablets.middleware import IN_FULL
from people.tablets.models import Tablet
from people.tablets.recognising import give_key, recognised
from people.tablets.taking_over import people_at, take_over
from web.form_pages import form_errors
from web.lookup import one_or_404
from web.once import FIELD, person_of
from web.text import refuse_unprintable
from web.typed import SIGNED_IN_AGAIN, keep_typed, put_typed, take_typed

WRONG_CODE = "A tablet was to be enrolled with a code that does not fit."
SHOWN, SENT = require_http_methods(["GET", "HEAD"]), require_http_methods(["GET", "HEAD", "POST"])


class EnrolForm(forms.Form):
    """The code, as it was read aloud."""

    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="Eight letters and digits, from the page of the site's tablets.",
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


@never_cache
@SENT
def tablet_enrol(request: HttpRequest) -> HttpResponse:
    """Make the device that asks the tablet a code was made for. Nobody stays signed in on it."""
    _refuse_unprintable(request)
    sent = request.POST if request.method == "POST" else None
    form = EnrolForm(sent, initial={"code": request.GET.get("code", "")[:20]})
    status = 200
    if form.is_bound:
        status = 400
        if form.is_valid():
            with form_errors(form) as outcome:
                return _enrolled(request, form.cleaned_data["code"])
            status = outcome.status
    return render(request, "people/tablets/enrol.html", {"form": form}, status=status)


def _enrolled(request: HttpRequest, code: str) -> HttpResponse:
    """Raises Invalid (code), Refused."""
    if not ratelimit.consume(request, app="allauth.account", action="tablet_code", key="any"):
        raise Refused("Too many codes were tried: wait a minute.")
    by = request.user if isinstance(request.user, User) else None
    try:
        tablet, key = enrol(by=by, code=code)
    except Invalid:
        refuse_sign_in(request, WRONG_CODE, None)
        raise
    leave(request, End.HANDED_OVER)
    messages.success(request, f"This is now “{tablet.name}” of {tablet.site}.")
    response = redirect("people:tablet")
    give_key(response, key)
    return response


def _refuse_unprintable(request: HttpRequest) -> None:
    """As every page does."""
    given = (*request.GET.lists(), *request.POST.lists())
    refuse_unprintable((name, str(text)) for name, all_ in given for text in (name, *all_))


def _next(request: HttpRequest) -> str:
    """Where whoever takes over is led: a page of ours, or nothing."""
    asked = request.POST.get("next") or request.GET.get("next", "")
    return asked if _is_ours(request, asked) else ""


def _is_ours(request: HttpRequest, address: str) -> bool:
    """By its path: a word without one would be taken for a page's name."""
    allowed = url_has_allowed_host_and_scheme(address, {request.get_host()})
    return address.startswith("/") and allowed


@never_cache
@SHOWN
def tablet(request: HttpRequest) -> HttpResponse:
    """Who are you? Those of the site who have a PIN."""
    here = recognised(request)
    if here is None:
        return render(request, "people/tablets/none.html")
    if request.user.is_authenticated:
        return redirect("home")
    query = {"next": _next(request)} if _next(request) else {}
    shown = {
        "tablet": here,
        "people": people_at(here),
        "query": f"?{urlencode(query)}" if query else "",
        "sign_in": reverse("people:tablet_full"),
        "next": _next(request),
    }
    return render(request, "people/tablets/choose.html", shown)


class PinForm(forms.Form):
    """The PIN, never shown again."""

    pin = forms.CharField(
        label="PIN",
        max_length=MOST,
        widget=forms.PasswordInput(
            attrs={
                "inputmode": "numeric",
                "autocomplete": "off",
                "autofocus": True,
                "class": "pin",
            }
        ),
    )


@never_cache
@SENT
def tablet_person(request: HttpRequest, pk: int) -> HttpResponse:
    """The PIN of whoever was chosen; right, they take over."""
    here = recognised(request)
    if here is None:
        raise Http404("This is no enrolled tablet.")
    _refuse_unprintable(request)
    person = one_or_404(people_at(here), pk)
    form = PinForm(request.POST if request.method == "POST" else None)
    status = 200 if not form.is_bound else 400
    if form.is_bound and form.is_valid():
        if request.user.is_authenticated:
            leave(request, End.HANDED_OVER)
        with form_errors(form) as outcome:
            return _taken_over(request, here, person, form.cleaned_data["pin"])
        status = outcome.status
    shown = {"tablet": here, "person": person, "form": form, "next": _next(request)}
    return render(request, "people/tablets/pin.html", shown, status=status)


def _taken_over(request: HttpRequest, here: Tablet, person: User, digits: str) -> HttpResponse:
    """Raises what take_over does. Of whoever was here before, nothing is left."""
    kept = take_typed(request)
    try:
        taken = take_over(request, tablet=here, person=person, digits=digits)
    except DomainError:
        put_typed(request, kept)  # still that person's, should they come
        raise
    theirs = kept if kept and kept["person"] == person.pk else None
    put_typed(request, theirs)
    response = redirect(str(theirs["back"]) if theirs else _next(request) or "home")
    if taken.key:
        give_key(response, taken.key)
    return response


@require_POST
def tablet_leave(request: HttpRequest) -> HttpResponse:
    """Hand the tablet to somebody else."""
    leave(request, End.HANDED_OVER)
    take_typed(request)
    return redirect("people:tablet")


@require_POST
def tablet_rest(request: HttpRequest) -> HttpResponse:
    """It was left alone: back to the choice; a form that was begun is kept for its person."""
    back, to = request.POST.get("tablet_back", ""), request.POST.get("tablet_to", "")
    ours = _is_ours(request, back) and _is_ours(request, to)
    # Whoever types without sending anything may be signed out by now: the form says whose it is.
    person = request.user.pk or person_of(request.POST.get(FIELD, ""))
    if ours and person is not None:
        keep_typed(request, back, SIGNED_IN_AGAIN, person, to=to)
    leave(request, End.LEFT_ALONE)
    return redirect("people:tablet")


@require_POST
def tablet_full(request: HttpRequest) -> HttpResponse:
    """On to the full sign-in at this tablet; what was typed is there afterwards."""
    leave(request, End.HANDED_OVER)
    leads_to = _next(request)
    query = f"?{urlencode({'next': leads_to})}" if leads_to else ""
    response = redirect(f"{resolve_url(settings.LOGIN_URL)}{query}")
    vars(response)[IN_FULL] = True
    return response
