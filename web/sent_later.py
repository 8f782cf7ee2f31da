"""The answers to what a device noted without a line and sends now (web.queued)."""

from collections.abc import Callable

from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.views.csrf import csrf_failure

from audit.errors import Refused
from web.once import FIELD, StillGoing, once, person_of
from web.queued import ANSWER, LATER, WHOSE, is_queued

# Of the once-key on such a page: shorter than IDEMPOTENCY_KEY_DAYS, so that whatever was done
# under it is still known when it comes again.
KEY_AGE = 6 * 24 * 60 * 60  # seconds


def signed_out() -> JsonResponse:
    """Nobody is signed in: it stays on the device."""
    return JsonResponse({}, status=401, headers={ANSWER: "signed-out"})


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """CSRF_FAILURE_VIEW: what waited longer than its page's proof is told the one of now.

    Only a script of ours can read the answer, or send the header that asks for it.
    """
    if not is_queued(request):
        return csrf_failure(request, reason)
    return JsonResponse({"token": get_token(request)}, status=403, headers={ANSWER: "token"})


def carried_out(request: HttpRequest, run: Callable[[], HttpResponse]) -> HttpResponse:
    """Run the view once, and say where it led; a form that is shown again stays a page.

    To whoever did not note it, it is as if nobody were signed in: it may have been done before,
    and its answer lost. Raises Refused where its key is not theirs, or too old.
    """
    if request.headers[WHOSE] != str(request.user.pk):
        return signed_out()
    if person_of(request.POST.get(FIELD, ""), KEY_AGE) != request.user.pk:
        raise Refused(
            "This was noted too long ago, or on somebody else's page: it is not carried out by "
            "itself any more.",
            how_to_ask="Look whether it is there; if not, type it again.",
        )
    try:
        response = once(request, run, KEY_AGE)
    except StillGoing:
        return HttpResponse(status=503)  # the device sends it again
    leads_to = vars(response).get("leads_to") or response.get("Location", "")
    if not leads_to:
        return response
    told = [str(each) for each in get_messages(request)] if LATER in request.headers else []
    return JsonResponse({"leads_to": leads_to, "said": told}, headers={ANSWER: "done"})
