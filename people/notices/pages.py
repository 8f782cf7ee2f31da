"""Pages: what there is for me, and how I hear of it; what everybody hears of; hearing no more."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from people.confirming.pages import confirmed
from people.devices.models import Device
from people.devices.pages import DeviceForm
from people.devices.push_key import public_key
from people.mailing.refusals import refusal_of
from people.mailing.sending import mail_hindrance
from people.notices.choices import chosen_by, rules, set_choices, set_rules
from people.notices.forms import ChoicesForm, RulesForm, as_seen
from people.notices.hearing import matters_of
from people.notices.kinds import kinds
from people.notices.models import USUAL_DAY, USUAL_HOUR, Message, Reader
from people.notices.readers import zone_for
from people.notices.stopping import read_token, stop
from people.persons.verbs import Verb
from web.form_pages import form_errors, form_page, posted, status_of
from web.pages import PageRequest, page
from web.typed import Typed

MOST = 50  # matters that the page lists
LAST = 20  # messages


@page(methods="GET POST")
def notices(request: PageRequest) -> HttpResponse:
    """What there is for whoever asks, what was sent, and the form to choose."""
    form = _choices(request)
    Typed(request).refill(form, request.path)
    status = status_of(form)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            set_choices(
                by=request.user,
                seen=form.now,
                chosen=form.chosen(),
                hour=form.cleaned_data["hour"],
                weekday=form.cleaned_data["weekday"],
            )
        if outcome.ok:
            messages.success(request, "Saved.")
            return redirect("people:notices")
        status = outcome.status
    return render(request, "people/notices/own.html", _shown(request, form), status=status)


def _choices(request: PageRequest) -> ChoicesForm:
    reader = Reader.objects.filter(person=request.user).first()
    when = {
        "hour": reader.hour if reader else USUAL_HOUR,
        "weekday": reader.weekday if reader else USUAL_DAY,
    }
    now = chosen_by(request.user)
    return ChoicesForm(posted(request), initial=when, now=now, asked=rules())


def _shown(request: PageRequest, form: ChoicesForm) -> dict[str, object]:
    found = list(matters_of(request.user, MOST + 1))
    return {
        "form": form,
        "matters": found[:MOST],
        "more": len(found) > MOST,
        "labels": {code: kind.label for code, kind in kinds().items()},
        "devices": Device.objects.of(request.user),
        "device_form": DeviceForm(),
        "push_key": public_key(),
        "hindrance": mail_hindrance(),
        "refusal": refusal_of(request.user.pk),
        "sent": Message.objects.of(request.user)[:LAST],
        "zone": zone_for(request.user),
    }


@page(Verb.POLICY_SET, methods="GET POST", everywhere=True)
@confirmed()
def notice_rules(request: PageRequest) -> HttpResponse:
    """What an owner asks everybody to hear of."""
    now = rules()
    form = RulesForm(posted(request), initial={**now, "seen": as_seen(now)})

    def act() -> str:
        set_rules(by=request.user, seen=form.cleaned_data["seen"], wanted=form.wanted())
        return reverse("people:notice_rules")

    return form_page(
        request, "people/notices/rules.html", form, act, said="Saved.", context={"rules": now}
    )


@csrf_exempt  # a mail program sends it for its user (RFC 8058): the signed address is the proof
@require_http_methods(["GET", "HEAD", "POST"])
def notices_stop(request: HttpRequest, token: str) -> HttpResponse:
    """Hear no more of what the link names: one click, without signing in.

    Looking changes nothing, for scanners look at every link of a mail.
    """
    named = read_token(token)[1]
    done = request.method == "POST"
    codes = stop(token) if done else named
    known = kinds()
    shown = {
        "done": done,
        "off": [known[code].label for code in codes],
        "kept": [known[code].label for code in named if code not in codes],
    }
    return render(request, "people/notices/stop.html", shown)
