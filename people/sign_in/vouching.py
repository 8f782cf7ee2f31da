"""The provider of single sign-on vouches for one signature, for whoever has no password here.

What is signed is put into a statement, whose SHA-256 goes along as the nonce of the question who
is there, with prompt=login and max_age=0 (OpenID Connect Core 1.0, 3.1.2.1). The provider's ID
token is good for that one signature if it names this nonce, the subject that is connected to the
signer, and a time, since the question, at which they proved it. It is used once, within five
minutes.
"""

import json
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

from audit.errors import OneMoreStep, Refused
from audit.ledger.canonical import canonical
from audit.ledger.passkeys import BOUND, Said
from people.persons.models import User
from web.typed import keep_typed

ASKED = "single_asked"  # in the session: the statement, when it was asked, and the proof
CLOCKS = 60  # seconds by which the provider's clock and ours may differ
HERE_AGAIN = "Nothing is signed yet: what you had typed is here again. Look at it, and sign."


@dataclass(frozen=True, slots=True)
class Question:
    """What the provider is asked to vouch for, and when it did; times in seconds since 1970."""

    statement: str
    asked: float
    proven: float | None = None

    @property
    def nonce(self) -> str:
        """What the ID token has to name."""
        return sha256(self.statement.encode()).hexdigest()

    def is_about(self, said: Said) -> bool:
        """Whether just that is to be signed."""
        stated = json.loads(self.statement)
        return all(stated[name] == said[name] for name in BOUND)

    def is_proven(self) -> bool:
        """Whether the provider vouched, within the time in which a confirmation counts."""
        return self.proven is not None and _lately(self.proven, self.asked)


def _lately(proven: float, asked: float) -> bool:
    now = time.time()
    latest = max(asked, now - settings.ACCOUNT_REAUTHENTICATION_TIMEOUT)
    return latest - CLOCKS <= proven <= now + CLOCKS


def question_of(request: HttpRequest) -> Question | None:
    """What this session asks, if anything."""
    kept: dict[str, Any] | None = request.session.get(ASKED)
    return Question(**kept) if kept else None


def answered(request: HttpRequest, person: User, claims: Mapping[str, Any]) -> bool:
    """Take note of the answer, if it is one to this session's question about its own person.

    Raises Refused where it says nothing of a proof since the question.
    """
    question = question_of(request)
    if question is None or claims.get("nonce") != question.nonce or request.user.pk != person.pk:
        return False
    at = claims.get("auth_time")
    if not isinstance(at, int | float) or not _lately(at, question.asked):
        raise Refused("The provider does not say that you proved there just now who you are.")
    request.session[ASKED] = {
        "statement": question.statement,
        "asked": question.asked,
        "proven": at,
    }
    return True


class Vouching:
    """What one request for a signature has of it."""

    def __init__(self, request: HttpRequest) -> None:
        self._request = request
        self.asks = False  # whether the page has to lead to the provider now

    @property
    def proven(self) -> bool:
        """Whether the provider has vouched for what this session asked last."""
        question = question_of(self._request)
        return question is not None and question.is_proven()

    def reserved(self, subject_type: str) -> int | None:
        """The number promised to what is made by signing, when the provider was asked."""
        question = question_of(self._request)
        stated = json.loads(question.statement) if question and question.is_proven() else {}
        return int(stated["subject_id"]) if stated.get("subject_type") == subject_type else None

    def require(self, said: Said) -> Question:
        """The question that was answered, about just that. Raises OneMoreStep after asking."""
        question = question_of(self._request)
        if question is None or not question.is_about(said) or not question.is_proven():
            raise self._ask(said)
        return question

    def use(self, question: Question) -> None:
        """From now on the answer is worth nothing. Raises Refused if it was used already."""
        self._request.session.pop(ASKED, None)
        lasts = settings.ACCOUNT_REAUTHENTICATION_TIMEOUT + 2 * CLOCKS
        if not cache.add(f"vouched:{question.nonce}", 1, lasts):
            raise Refused("The provider's word was used for another signature already.")

    def _ask(self, said: Said) -> OneMoreStep:
        stated = {"nonce": secrets.token_hex(16), **{name: said[name] for name in BOUND}}
        statement = canonical(stated).decode()
        self._request.session[ASKED] = {"statement": statement, "asked": time.time()}
        keep_typed(self._request, self._request.get_full_path(), HERE_AGAIN, int(said["signer"]))
        self.asks = True
        return OneMoreStep("The provider is asked now.")
