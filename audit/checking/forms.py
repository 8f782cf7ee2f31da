"""What an owner may hand to a check: a checkpoint kept outside, a signing key written down."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from audit.checking.note import LONGEST, key_in, note_in
from audit.errors import Invalid


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
