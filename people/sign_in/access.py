"""What somebody can get in with, and where they are: sessions, factors, tokens, in one look."""

from dataclasses import dataclass

from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount

from people.persons.models import User
from people.pins.models import Pin
from people.sign_in.models import SignIn
from people.sign_in.single import account_of
from people.tokens.models import ApiToken

LATEST = 10  # ended sessions that are worth listing; the history has all


@dataclass(frozen=True, slots=True)
class Factor:
    """A second factor or passkey: what it is and its name, never what it holds."""

    kind: str
    name: str
    made_at: object
    used_at: object


@dataclass(frozen=True, slots=True)
class AccessOf:
    """One person's."""

    live: list[SignIn]
    ended: list[SignIn]
    factors: list[Factor]
    tokens: list[ApiToken]
    pin: Pin | None
    single: SocialAccount | None  # connected to the provider of the settings

    @property
    def last(self) -> SignIn | None:
        """The newest sign-in."""
        return max([*self.live, *self.ended], key=lambda each: each.pk, default=None)


def access_of(person: User) -> AccessOf:
    """Read it: at most six queries."""
    mine = SignIn.objects.filter(user=person).select_related("tablet")
    return AccessOf(
        list(mine.live()),
        list(mine.exclude(ended_at=None)[:LATEST]),
        [_factor(each) for each in Authenticator.objects.filter(user_id=person.pk).order_by("pk")],
        list(ApiToken.objects.filter(user=person)),
        Pin.objects.filter(user=person).first(),
        account_of(person),
    )


KINDS = {
    Authenticator.Type.TOTP: "Code app",
    Authenticator.Type.WEBAUTHN: "Passkey",
    Authenticator.Type.RECOVERY_CODES: "Spare codes",
}


def _factor(found: Authenticator) -> Factor:
    named = found.type == Authenticator.Type.WEBAUTHN
    name = str(found.wrap().name) if named else ""
    kind = KINDS.get(found.type, str(found.type))
    return Factor(kind, name, found.created_at, found.last_used_at)
