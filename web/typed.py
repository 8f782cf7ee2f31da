"""What was typed before a page asked for something else first, and is shown again afterwards.

Nothing is done by signing in or confirming: whoever comes back to a browser left alone would carry
out what somebody else had typed there. They see it, and send it themselves.
"""

from collections.abc import Collection
from urllib.parse import urlsplit

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.http import url_has_allowed_host_and_scheme

from web.once import FIELD, nothing_done, person_of
from web.text import NEVER_REPEATED

TYPED = "typed"  # in the session, until it is shown again
LARGEST = 64 * 1024  # bytes of what is kept; nobody types more
SIGNED_IN_AGAIN = "You are signed in again. Nothing was sent yet: look at it, and send it again."
LED = ("tablet_back", "tablet_to")  # where a form led that a tablet sends when it is left alone
NOT_TYPED = frozenset({"revision", "seen", "digest"})


def keep_typed(request: HttpRequest, back: str, words: str, person: int, *, to: str = "") -> None:
    """Keep what was sent, until that person sees the page `back` again with those words.

    to: where the form is sent, if not to the address that was asked for.
    """
    sent = request.POST.copy()
    for name in (*NEVER_REPEATED, *LED):
        sent.pop(name, None)
    text = sent.urlencode()
    if len(text) <= LARGEST:
        request.session[TYPED] = {
            "back": back,
            "to": to or request.path,
            "sent": text,
            "words": words,
            "person": person,
        }


def sign_in_first(request: HttpRequest, methods: Collection[str]) -> HttpResponse:
    """Send whoever is signed out to sign in and on to the page they were at, with what they typed.

    Kept only where the form was made for somebody signed in: its key says for whom. A stranger
    leaves nothing.
    """
    if request.method != "POST":
        return redirect_to_login(request.get_full_path())
    back = request.get_full_path() if "GET" in methods else came_from(request)
    person = person_of(request.POST.get(FIELD, ""))
    if person is not None:
        keep_typed(request, back, SIGNED_IN_AGAIN, person)
    return nothing_done(redirect_to_login(back))


def came_from(request: HttpRequest) -> str:
    """The page of ours that held the form, else home: what only takes what is sent is no page."""
    told = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(told, {request.get_host()}):
        return "/"
    parts = urlsplit(told)
    return f"{parts.path}?{parts.query}" if parts.query else parts.path or "/"


def take_typed(request: HttpRequest) -> dict[str, object] | None:
    """What is kept, taken out: for whoever ends a session and may put it into the next one."""
    kept: dict[str, object] | None = request.session.pop(TYPED, None)
    return kept


def put_typed(request: HttpRequest, kept: dict[str, object] | None) -> None:
    """Put it into another session of the same browser."""
    if kept:
        request.session[TYPED] = kept


class Typed:
    """What this page's visitor had typed, if it is to be shown now; gone from the session then."""

    def __init__(self, request: HttpRequest) -> None:
        kept = request.session.get(TYPED, {})
        self.to, self.sent = "", QueryDict()
        if request.method != "GET" or kept.get("back") != request.get_full_path():
            return
        del request.session[TYPED]
        if kept["person"] == request.user.pk:
            messages.info(request, kept["words"])
            self.to, self.sent = kept["to"], QueryDict(kept["sent"])

    def refill(self, form: BaseForm, to: str) -> None:
        """Put it into the form that is sent to that address, if it was that one."""
        if form.is_bound or to != self.to:
            return
        for name, field in form.fields.items():
            if name not in NEVER_REPEATED:
                value = field.widget.value_from_datadict(self.sent, {}, form.add_prefix(name))
                form.initial[name] = value

    def say(self, request: HttpRequest) -> None:
        """Tell it in words, where the page has no form to put it back into."""
        texts = [
            text
            for name, values in self.sent.lists()
            if name not in NOT_TYPED
            for text in values
            if text
        ]
        if texts:
            messages.info(request, f"You had typed: {' · '.join(texts)}")


def waiting(request: HttpRequest) -> bool:
    """Whether something typed on this page still waits to be shown."""
    kept = request.session.get(TYPED, {})
    return request.method == "GET" and kept.get("back") == request.get_full_path()
