"""How a signature is asked for, on pages by a form and in the API by a serializer, and shown."""

from typing import Any, ClassVar

from django import forms
from django.http import HttpRequest
from rest_framework import serializers
from rest_framework.request import Request

from people.confirming.codes import Factors, factors_of
from people.passkeys.asking import Dialog
from people.persons.models import User
from people.persons.verbs import first_role
from people.sign_in.single import account_of, single_sign_on
from people.sign_in.vouching import Vouching
from people.signatures.models import Meaning, Signature
from people.signatures.rules import VERBS, Need, meets, need_of
from people.signatures.signing import Credentials
from people.tokens.models import ApiToken

SIGNED = "has_signed"  # the session's mark; a new session starts without it
TYPED = ("email", "password", "code")
BUTTON = "with_passkey"  # what the button that asks the passkey sends


class Unfilled(forms.HiddenInput):
    """Never shows again what was sent."""

    def format_value(self, value: object) -> None:
        """Nothing."""
        return


class SigningForm(forms.Form):
    """Inherit it: adds what a signature asks for, and show it by parts/sign_panel.html.

    `signs` is the meaning, for what the house asks of it. Asked are the password, the address
    until this session has signed once, and a code of whoever has a second factor. Whoever has a
    passkey may let that answer instead; whoever has no password is vouched for by the provider.
    """

    signs: ClassVar[Meaning | None] = None

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
    passkey = forms.CharField(required=False, max_length=20_000, widget=Unfilled())

    def __init__(self, *args: object, request: HttpRequest, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.request = request
        factors = factors_of(request.user.pk) if request.user.pk else Factors()
        self.has_passkey = factors.passkey
        self.asked = self._asked_of(request.user)
        self.short_of = bool(self.asked) and not meets(factors, self.asked)
        person = request.user
        self.has_password = isinstance(person, User) and person.has_usable_password()
        self.vouching = Vouching(request)
        self.provider = None if self.has_password else _provider_of(request.user)
        for name, needed in {
            "email": self.has_password and not has_signed(request),
            "password": self.has_password,
            "code": factors.any and (self.has_password or self.vouching.proven),
            "passkey": factors.passkey,
        }.items():
            if not needed:
                del self.fields[name]
        if self.by_passkey:
            for name in TYPED:
                if name in self.fields:
                    self.fields[name].required = False
        self.dialog = Dialog(request, str(self.data.get("passkey", "")))
        # Last on the page: what is signed comes first.
        self.order_fields([n for n in self.fields if n not in TYPED])

    @property
    def instead(self) -> str:
        """How whoever has a passkey may sign without it, in words; empty where they can't."""
        if self.asked == Need.PASSKEY:
            return ""
        if self.has_password:
            return "with password and code"
        return "by single sign-on and code" if self.provider else ""

    def _asked_of(self, person: Any) -> Need | None:  # noqa: ANN401
        """What the house asks of whoever signs this here."""
        if self.signs is None or not person.pk:
            return None
        role = first_role(person.roles_held(), VERBS[self.signs], None)
        return need_of(self.signs, [role] if role else [])

    @property
    def by_passkey(self) -> bool:
        """Whether the passkey is to answer, or has; who typed a password meant that."""
        sent = self.data.get("passkey") or (self.data.get(BUTTON) and not self.data.get("password"))
        return self.has_passkey and bool(sent)

    def credentials(self) -> Credentials:
        """What was typed, for the action; after it succeeded call note_signed(request)."""
        given: dict[str, Any] = self.cleaned_data
        if self.by_passkey:
            return Credentials(password="", passkey=self.dialog)
        if self.provider:
            return Credentials("", code=given.get("code", ""), vouching=self.vouching)
        return Credentials(
            password=given.get("password", ""),
            identification=given.get("email"),
            session_signed=has_signed(self.request),
            code=given.get("code", ""),
        )


def _provider_of(person: Any) -> dict[str, str] | None:  # noqa: ANN401
    """Who can vouch for somebody without a password: the provider they are connected to."""
    known = single_sign_on()
    return known if known and person.pk and account_of(person) else None


class SignatureSerializer(serializers.Serializer[Credentials]):
    """Inherit it in a signing endpoint's body. With a token the e-mail is needed every time.

    `code` is that of the person's second factor, needed where they have one. Passkeys answer on
    pages only.
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
    """A signature as it is printed: name, role, time, meaning, how, and the digest it covers."""

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
