"""Every request of an enrolled tablet: which one it is, and what it leaves of somebody's rights."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render, resolve_url
from django.urls import reverse

from people.persons.models import User
from people.persons.standing import PinNotEnough, Standing, standing
from people.sign_in.models import End
from people.sign_in.sessions import AT_TABLET, IN_FULL_AT, TABLET
from people.tablets.handing_over import keep_awake, leave
from people.tablets.models import Tablet
from people.tablets.recognising import NOTED, tablet_that_asks
from web.middleware import API, name_device
from web.queued import KEPT_FOR
from web.typed import came_from, keep_typed

GetResponse = Callable[[HttpRequest], HttpResponse]
IN_FULL = "in_full"  # noted on an answer that leads to the full sign-in on purpose
TRY_AGAIN = "You are signed in in full. Nothing was sent yet: look at it, and send it again."


class TabletMiddleware:
    """Names the device, bounds rights to its site, and ends what is out of place."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        tablet = tablet_that_asks(request)
        if tablet:
            vars(request).update({TABLET: tablet.pk, NOTED: tablet})
            name_device(tablet.pk)
        _end_what_is_out_of_place(request, tablet)
        with standing(_standing(request, tablet)):
            response = self.get_response(request)
        if tablet and request.user.is_authenticated:
            keep_awake(request, tablet)
        if tablet:
            response.headers.pop(KEPT_FOR, None)  # whoever comes next finds nothing
        return _to_the_choice(request, response) if tablet else response

    def process_exception(self, request: HttpRequest, raised: Exception) -> HttpResponse | None:
        """What a PIN is not enough for asks for the full sign-in, and keeps what was typed."""
        if not isinstance(raised, PinNotEnough) or request.path.startswith(API):
            return None
        back = request.get_full_path() if request.method == "GET" else came_from(request)
        if request.method == "POST" and request.user.pk:
            keep_typed(request, back, TRY_AGAIN, request.user.pk)
        shown = {"message": raised.message, "who_may": raised.who_may, "back": back}
        return render(request, "people/tablets/in_full.html", shown, status=403)


def _end_what_is_out_of_place(request: HttpRequest, tablet: Tablet | None) -> None:
    """A session of a tablet taken elsewhere, or when that is none any more; by PIN without a role.

    One in full too: it would reach beyond the site by leaving the tablet's cookie away.
    """
    by_pin = AT_TABLET in request.session
    at = request.session.get(AT_TABLET) or request.session.get(IN_FULL_AT)
    if at is None or not isinstance(request.user, User):
        return
    if tablet is None or tablet.pk != at:
        leave(request, End.TABLET)
    elif by_pin and all(
        each.site_id not in (None, tablet.site_id) for each in request.user.roles_held()
    ):
        leave(request, End.ROLE)


def _standing(request: HttpRequest, tablet: Tablet | None) -> Standing | None:
    if tablet is None or not request.user.pk:
        return None
    return Standing(request.user.pk, tablet.site_id, by_pin=AT_TABLET in request.session)


def _to_the_choice(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Whoever is to sign in at a tablet is shown the choice of people first."""
    part = request.headers.get("HX-Request") == "true"
    path, _, query = response.get("Location", "").partition("?")
    if path == resolve_url(settings.LOGIN_URL) and not part and not vars(response).get(IN_FULL):
        response["Location"] = (
            f"{reverse('people:tablet')}?{query}" if query else reverse("people:tablet")
        )
    return response
