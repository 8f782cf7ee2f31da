"""The library's sign-in forms in this product's words: labels instead of placeholders."""

from typing import Any

from allauth.account import forms as account
from allauth.core import context
from allauth.mfa.adapter import get_adapter
from allauth.mfa.base import forms as factor
from allauth.mfa.totp import forms as totp
from allauth.mfa.utils import is_mfa_enabled
from allauth.mfa.webauthn import forms as webauthn
from django import forms

from audit.capture.context import recorded
from people.confirming.codes import APP, claim
from people.persons.actions import subject_of
from people.sign_in.actions import FACTOR_USED
from people.sign_in.sessions import refuse_sign_in

WRONG_CODE = "A wrong code of the second factor was given."


class Worded:
    """Gives fields the labels in `words` and drops placeholders, which vanish while one types."""

    words: dict[str, str] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        fields: dict[str, Any] = self.fields  # type: ignore[attr-defined]
        for name, field in fields.items():
            field.label = self.words.get(name, field.label)
            field.widget.attrs.pop("placeholder", None)


class LoginForm(Worded, account.LoginForm):  # type: ignore[misc]  # the library has no types
    """Signing in."""

    words = {"login": "E-mail address", "password": "Password"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        # The page itself has the link to a new password.
        self.fields["password"].help_text = ""


class ReauthenticateForm(Worded, account.ReauthenticateForm):  # type: ignore[misc]
    """Confirming that it is still the same person."""

    words = {"password": "Your password"}


class ResetPasswordForm(Worded, account.ResetPasswordForm):  # type: ignore[misc]
    """Asking for a link."""

    words = {"email": "E-mail address"}


class ResetPasswordKeyForm(Worded, account.ResetPasswordKeyForm):  # type: ignore[misc]
    """Setting a password by a link."""

    words = {"password1": "New password", "password2": "New password again"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if self.user and is_mfa_enabled(self.user):
            self.fields["code"] = forms.CharField(
                label="Code",
                help_text="Of your code app, or a spare one: the link alone does not set it.",
                widget=forms.TextInput(attrs={"autocomplete": "one-time-code"}),
            )

    def clean(self) -> dict[str, Any]:
        """The second factor, once the rest is right: a code works once."""
        typed: dict[str, Any] = super().clean()
        if "code" in typed and not self.errors:
            factor_form = AuthenticateForm(user=self.user, data={"code": typed["code"]})
            with recorded(by=self.user, action=FACTOR_USED):
                right = factor_form.is_valid()  # which uses a spare code up
            if not right:
                self.add_error("code", factor_form.errors["code"])
        return typed


class ChangePasswordForm(Worded, account.ChangePasswordForm):  # type: ignore[misc]
    """Changing one's password."""

    words = {
        "oldpassword": "Current password",
        "password1": "New password",
        "password2": "New password again",
    }


class Once:
    """A code of the app is used once, wherever it is asked for; a wrong one is written down."""

    def clean_code(self) -> str:
        """Right, and not used before."""
        used: Any = self
        try:
            code: str = super().clean_code()  # type: ignore[misc]
            if used.authenticator.type == APP and not claim(used.user.pk, code):
                raise get_adapter().validation_error("incorrect_code")
        except forms.ValidationError:
            refuse_sign_in(context.request, WRONG_CODE, subject_of(used.user))
            raise
        return code


class AuthenticateForm(Once, Worded, factor.AuthenticateForm):  # type: ignore[misc]
    """The second factor at sign-in."""

    words = {"code": "Code"}


class ReauthenticateCodeForm(Once, Worded, factor.ReauthenticateForm):  # type: ignore[misc]
    """The second factor again."""

    words = {"code": "Code"}


class ActivateTOTPForm(Worded, totp.ActivateTOTPForm):  # type: ignore[misc]
    """The first code of a new code app."""

    words = {"code": "The six digits it shows now"}


class AddWebAuthnForm(Worded, webauthn.AddWebAuthnForm):  # type: ignore[misc]
    """A new passkey."""

    words = {"name": "Name, such as phone", "passwordless": "Sign in with it alone"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if "passwordless" in self.fields:
            self.fields[
                "passwordless"
            ].help_text = "Without the password; the key then asks for its own PIN, finger or face."
