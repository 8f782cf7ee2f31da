"""'Is the history intact?': ask for a check, watch it, read what it found."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe
from django.views.decorators.vary import vary_on_headers

from audit.checking.actions import CHECKS, LONGEST, key_in, note_in, start_check
from audit.checking.report import groups_of
from audit.errors import Invalid, NotPermitted, Refused
from audit.reading.access import require_every_site
from audit.run_pages import RunPages, actor_of
from audit.sealing.keys import origin


class CheckForm(forms.Form):
    """Both optional; the checkpoint as text or as a file."""

    since = forms.CharField(
        label="Checkpoint you kept",
        required=False,
        max_length=LONGEST,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "class": "mono"}),
        help_text="Paste its text, or the whole mail it came in.",
    )
    since_file = forms.FileField(
        label="Or its file",
        required=False,
        max_length=200,
        help_text="As saved from the page of the seal.",
    )
    key = forms.CharField(
        label="Signing key you wrote down",
        required=False,
        max_length=300,
        help_text="Without it, the check believes the first key this server names.",
    )

    def clean_since_file(self) -> str:
        """The file's text."""
        sent: UploadedFile[bytes] | None = self.cleaned_data["since_file"]
        if sent is None:
            return ""
        try:
            text = sent.read(LONGEST + 1).decode()
        except UnicodeDecodeError:
            raise forms.ValidationError("This is no text file. Give a checkpoint's file.") from None
        if len(text) > LONGEST:
            raise forms.ValidationError("This file is too long to be a checkpoint's.")
        return _checked(note_in, text)

    def clean_since(self) -> str:
        """The note in what was pasted."""
        return _checked(note_in, self.cleaned_data["since"])

    def clean_key(self) -> str:
        """A key that can be read."""
        return _checked(key_in, self.cleaned_data["key"])

    def clean(self) -> dict[str, Any]:
        """One checkpoint, whichever way it was given."""
        data = super().clean() or {}
        if data.get("since") and data.get("since_file"):
            self.add_error("since_file", "Give the checkpoint once: as text or as a file.")
        return data

    def asked(self) -> dict[str, str]:
        """What `start_check` takes; only on a valid form."""
        data = self.cleaned_data
        return {"since": data["since"] or data["since_file"], "key": data["key"]}


def _checked(read: Callable[[str], str], text: str) -> str:
    try:
        return read(text)
    except Invalid as invalid:
        raise forms.ValidationError(invalid.message) from None


PAGES = RunPages(
    CHECKS, groups_of, "audit/checking/check.html", "audit/checking/partials/check.html"
)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def intact(request: HttpRequest) -> HttpResponse:
    """The newest answer, and the button that asks for another."""
    require_every_site(request.user)
    if request.method == "POST":
        return _asked(request)
    return _page(request, CheckForm())


def _asked(request: HttpRequest) -> HttpResponse:
    form = CheckForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, status=400)
    try:
        start_check(by=actor_of(request), **form.asked())
    except NotPermitted:
        raise
    except Refused as refused:
        form.add_error(None, f"{refused.message} {refused.how_to_ask}")
        return _page(request, form, status=409)
    return redirect("audit:intact")


def _page(request: HttpRequest, form: CheckForm, status: int = 200) -> HttpResponse:
    context = {"form": form, "origin": origin(), **PAGES.newest()}
    return render(request, "audit/checking/intact.html", context, status=status)


@require_safe
@login_required
@vary_on_headers("HX-Request")
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """One check: its page, or the part of it that asks for itself while it runs."""
    return PAGES.answer(request, pk)
