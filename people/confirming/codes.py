"""A code of somebody's second factor: of their code app, or a spare one. Each works once."""

from dataclasses import dataclass

from allauth.core.internal.cryptokit import normalize_user_code
from allauth.mfa import app_settings
from allauth.mfa.models import Authenticator
from django.core.cache import cache

APP, SPARE = Authenticator.Type.TOTP, Authenticator.Type.RECOVERY_CODES


def claim(user_pk: int, code: str) -> bool:
    """Whether a right code of the app is used for the first time; from now on it was.

    The library forgets a used one after one step of 30 s. With a tolerance of one step either
    way it would be taken for three, so somebody who saw it typed could use it again.
    """
    steps = 2 * app_settings.TOTP_TOLERANCE + 1
    key = f"code-used:{user_pk}:{normalize_user_code(code)}"
    return bool(cache.add(key, 1, steps * app_settings.TOTP_PERIOD))


def use_code(user_pk: int, code: str) -> bool:
    """Whether the code is right; it is used up by that, a spare one within the transaction."""
    factors = Authenticator.objects.filter(user_id=user_pk, type__in=[APP, SPARE])
    for factor in factors.order_by("-type"):
        if factor.wrap().validate_code(code):
            return factor.type != APP or claim(user_pk, code)
    return False


@dataclass(frozen=True, slots=True)
class Factors:
    """What somebody has beside their password; spare codes come and go with the others."""

    app: bool = False
    passkey: bool = False

    @property
    def any(self) -> bool:
        """Whether there is a second factor."""
        return self.app or self.passkey


def factors_of(user_pk: int) -> Factors:
    """What somebody has. One query."""
    types = set(Authenticator.objects.filter(user_id=user_pk).values_list("type", flat=True))
    return Factors(APP in types, Authenticator.Type.WEBAUTHN in types)
