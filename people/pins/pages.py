"""Pages: one's own PIN, and an owner taking somebody's away."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from people.confirming.pages import confirmed
from people.persons.models import User
from people.persons.verbs import Verb
from people.pins.actions import remove_pin, set_pin
from people.pins.common import FEWEST, MOST
from people.pins.models import Pin
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page


def _digits(label: str, told: str = "") -> forms.CharField:
    return forms.CharField(
        label=label,
        min_length=FEWEST,
        max_length=MOST,
        help_text=told,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class PinForm(forms.Form):
    """A PIN to set, typed twice since nobody sees it."""

    pin = _digits("PIN", f"{FEWEST} to {MOST} digits; no run, no repetition, no year.")
    pin_again = _digits("The same again")

    def clean(self) -> dict[str, Any]:
        """Both alike."""
        typed: dict[str, Any] = super().clean() or {}
        if not self.errors and typed["pin"] != typed["pin_again"]:
            self.add_error("pin_again", "This is not the same as above.")
        return typed


@page(methods="GET POST")
@confirmed()
def own_pin(request: PageRequest) -> HttpResponse:
    """Set it, or another one."""
    form = PinForm(posted(request))

    def act() -> str:
        set_pin(by=request.user, digits=form.cleaned_data["pin"])
        return reverse("people:pin")

    return form_page(
        request,
        "people/pins/pin.html",
        form,
        act,
        said="PIN set.",
        context={"kept": Pin.objects.filter(user=request.user).first()},
    )


@page(methods="POST")
@confirmed("people:pin")
def own_pin_remove(request: PageRequest) -> HttpResponse:
    """Do without."""
    remove_pin(by=request.user, person=request.user)
    messages.success(request, "PIN removed.")
    return redirect("people:pin")


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def pin_remove(request: PageRequest, pk: int) -> HttpResponse:
    """Take somebody's away."""
    remove_pin(by=request.user, person=one_or_404(User.objects.all(), pk))
    messages.success(request, "PIN removed.")
    return redirect("people:edit", pk)
