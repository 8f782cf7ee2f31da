"""Who may do what, as pages and endpoints ask it of the app that knows people.

Nothing here knows a person, a role or a verb. The app that does fills `access` from its
AppConfig.ready(), as apps tell the history about themselves in audit.registry. Until then nobody
may do anything.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from django.http import HttpRequest
from rest_framework.request import Request

from audit.capture.context import record_refusal
from audit.errors import NotPermitted
from audit.vocabulary import register

if TYPE_CHECKING:  # the model AUTH_USER_MODEL names: django-stubs knows which
    from django.contrib.auth.models import _User as User

PAGE_REFUSED = register("page.refused", "Was refused a page")
ENDPOINT_REFUSED = register("endpoint.refused", "Was refused an endpoint")


def _nobody(user: "User", verb: StrEnum, site_id: int | None = None) -> None:
    raise NotPermitted(f"Nobody was asked who may “{verb}”.")


def _nobody_everywhere(user: "User", verb: StrEnum) -> None:
    _nobody(user, verb)


def _nobody_in_full(user: "User", what: str) -> None:
    raise NotPermitted(f"Nobody was asked who may {what}.")


@dataclass
class Access:
    """Each raises NotPermitted, saying who may and how to ask.

    `require`: some role of theirs allows the verb, at that site where one is named.
    `require_everywhere`: a role that covers all sites does.
    `require_in_full`: what needs no role, but a sign-in with password or passkey.
    """

    require: Callable[["User", StrEnum, int | None], object] = _nobody
    require_everywhere: Callable[["User", StrEnum], object] = _nobody_everywhere
    require_in_full: Callable[["User", str], object] = _nobody_in_full


access = Access()


def require_access(
    request: HttpRequest | Request,
    user: "User",
    verb: StrEnum,
    site_id: int | None = None,
    *,
    everywhere: bool = False,
) -> None:
    """Ask for a page or an endpoint, outside any action; a refusal is written down.

    ``everywhere``: it concerns all sites, so only a role that covers them all counts.
    Raises NotPermitted.
    """
    with noting_refusal(request, site_id):
        if everywhere:
            access.require_everywhere(user, verb)
        else:
            access.require(user, verb, site_id)


@contextmanager
def noting_refusal(request: HttpRequest | Request, site_id: int | None = None) -> Iterator[None]:
    """Around a permission asked for outside any action: its refusal is written down too."""
    try:
        yield
    except NotPermitted as refused:
        action = ENDPOINT_REFUSED if isinstance(request, Request) else PAGE_REFUSED
        by = request.user if request.user.is_authenticated else None
        record_refusal(refused, by=by, action=action, site_id=site_id)
        raise
