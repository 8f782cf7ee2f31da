"""How a signature is asked for, on pages by a form and in the API by a serializer, and shown."""

from django import forms
from django.http import HttpRequest
from rest_framework import serializers
from rest_framework.request import Request

from people.confirming.codes import has_factor
from people.signatures.models import Signature
from people.signatures.signing import Credentials
from people.tokens.models import ApiToken

SIGNED = "has_signed"  # the session's mark; a new session starts without it


class SigningForm(forms.Form):
    """Inherit it: adds `password`, `email` until this session has signed once, and `code`.

    The code is asked of whoever has a second factor.
    """

    email = forms.EmailField(
        label="Your e-mail address",
        help_text="Asked for with the first signature after signing in.",
        widget=forms.EmailInput(attrs={"autocomplete": "username"}),
    )
    password = forms.CharField(
        label="Your password",
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    code = forms.CharField(
        label="Code of your second factor",
        max_length=20,
        help_text="What your code app shows now, or a spare code.",
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"}),
    )

    def __init__(self, *args: object, request: HttpRequest, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.request = request
        if has_signed(request):
            del self.fields["email"]
        if request.user.pk is None or not has_factor(request.user.pk):
            del self.fields["code"]
        # Last on the page: what is signed comes first.
        self.order_fields([n for n in self.fields if n not in ("email", "password", "code")])

    def credentials(self) -> Credentials:
        """What was typed, for the action; after it succeeded call note_signed(request)."""
        return Credentials(
            password=self.cleaned_data["password"],
            identification=self.cleaned_data.get("email"),
            session_signed=has_signed(self.request),
            code=self.cleaned_data.get("code", ""),
        )


class SignatureSerializer(serializers.Serializer[Credentials]):
    """Inherit it in a signing endpoint's body. With a token the e-mail is needed every time.

    `code` is that of the person's second factor, needed where they have one.
    """

    email = serializers.EmailField(required=False, write_only=True)
    password = serializers.CharField(
        write_only=True, trim_whitespace=False, max_length=4096, style={"input_type": "password"}
    )

    code = serializers.CharField(
        required=False, write_only=True, max_length=20, allow_blank=True, default=""
    )

    def credentials(self, request: Request) -> Credentials:
        """What was sent, for the action; after it succeeded call note_signed(request)."""
        return Credentials(
            password=self.validated_data["password"],
            identification=self.validated_data.get("email"),
            session_signed=has_signed(request),
            code=self.validated_data["code"],
        )


class SignatureOut(serializers.ModelSerializer[Signature]):
    """A signature as it is printed: name, role, time, meaning, manner, and the digest it covers."""

    class Meta:
        model = Signature
        fields = ["id", "name", "role", "meaning", "manner", "at", "digest", "note"]


def has_signed(request: HttpRequest | Request) -> bool:
    """Whether this session has signed before; never so for a token, which has no session."""
    if isinstance(getattr(request, "auth", None), ApiToken):
        return False
    return bool(request.session.get(SIGNED))


def note_signed(request: HttpRequest | Request) -> None:
    """Remember, in this session only, that its first signature was given."""
    if not isinstance(getattr(request, "auth", None), ApiToken):
        request.session[SIGNED] = True
