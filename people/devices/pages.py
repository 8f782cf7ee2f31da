"""Where a browser adds itself, and where a device is taken away; they are listed with notices."""

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from people.devices.actions import add_device, keep_number
from people.devices.models import Device
from people.devices.services import LONGEST
from web.form_pages import cleaned
from web.lookup import one_or_404
from web.pages import PageRequest, page


class DeviceForm(forms.Form):
    """What the browser gives out for a subscription; a script fills it in."""

    endpoint = forms.CharField(max_length=LONGEST, widget=forms.HiddenInput)
    p256dh = forms.CharField(max_length=100, widget=forms.HiddenInput)
    auth = forms.CharField(max_length=40, widget=forms.HiddenInput)
    made_for = forms.CharField(max_length=100, widget=forms.HiddenInput)


@page(methods="POST")
def device_add(request: PageRequest) -> HttpResponse:
    """Let this browser be told."""
    given = cleaned(DeviceForm(request.POST))
    _, number = add_device(by=request.user, request=request, **given)
    messages.success(request, "This device is told from now on.")
    response = redirect("people:notices")
    keep_number(response, number, secure=settings.SESSION_COOKIE_SECURE)
    return response


@page(methods="POST")
def device_remove(request: PageRequest, pk: int) -> HttpResponse:
    """Take one of one's own devices away."""
    one_or_404(Device.objects.of(request.user), pk).delete()
    messages.success(request, "That device is not told any more.")
    return redirect("people:notices")
