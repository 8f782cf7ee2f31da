"""How a signature is asked for, on pages by a form and in the API by a serializer, and shown."""

from django import forms
from django.http import HttpRequest
from rest_framework import serializers
from rest_framework.request import Request

from people.signatures.models import Signature
from people.signatures.signing import Credentials
from people.tokens.models import ApiToken

SIGNED = "has_signed"  # the session's mark; a new session starts without it


class SigningForm(forms.Form):
    """Inherit it: adds `password`, and `email` until this session has signed once."""

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

    def __init__(self, *args: object, request: HttpRequest, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.request = request
        if has_signed(request):
            del self.fields["email"]
        # Last on the page: what is signed comes first.
        self.order_fields([n for n in self.fields if n not in ("email", "password")])

    def credentials(self) -> Credentials:
        """What was typed, for the action; after it succeeded call note_signed(request)."""
        return Credentials(
            password=self.cleaned_data["password"],
            identification=self.cleaned_data.get("email"),
            session_signed=has_signed(self.request),
        )


class SignatureSerializer(serializers.Serializer[Credentials]):
    """Inherit it in a signing endpoint's body. With a token the e-mail is needed every time."""

    email = serializers.EmailField(required=False, write_only=True)
    password = serializers.CharField(
        write_only=True, trim_whitespace=False, max_length=4096, style={"input_type": "password"}
    )

    def credentials(self, request: Request) -> Credentials:
        """What was sent, for the action; after it succeeded call note_signed(request)."""
        return Credentials(
            password=self.validated_data["password"],
            identification=self.validated_data.get("email"),
            session_signed=has_signed(request),
        )


class SignatureOut(serializers.ModelSerializer[Signature]):
    """A signature as it is printed: name, role, time, meaning, and the digest it covers."""

    class Meta:
        model = Signature
        fields = ["id", "name", "role", "meaning", "at", "digest", "note"]


def has_signed(request: HttpRequest | Request) -> bool:
    """Whether this session has signed before; never so for a token, which has no session."""
    if isinstance(getattr(request, "auth", None), ApiToken):
        return False
    return bool(request.session.get(SIGNED))


def note_signed(request: HttpRequest | Request) -> None:
    """Remember, in this session only, that its first signature was given."""
    if not isinstance(getattr(request, "auth", None), ApiToken):
        request.session[SIGNED] = True
