"""A head roaster with a phone that signs, and a browser's session."""

from collections.abc import Callable

import pytest
from django.test import RequestFactory

from audit.capture.context import recorded
from audit.errors import OneMoreStep
from people.passkeys.asking import Dialog, Options
from people.persons.models import User
from people.persons.verbs import Verb
from people.sign_in.urls import OWN_ACCOUNT
from people.signatures.models import Meaning, Signature
from people.signatures.signing import Credentials, sign
from tests.cast import Cast
from tests.people.passkeys.device import Device


class Session:
    """A browser's session, through as many requests as it takes."""

    def __init__(self) -> None:
        self.kept: dict[str, str] = {}

    def dialog(self, response: str = "") -> Dialog:
        """That of the next request."""
        request = RequestFactory().post("/", headers={"host": "localhost:8000"})
        request.session = self.kept  # type: ignore[assignment]
        return Dialog(request, response)


@pytest.fixture
def session() -> Session:
    """A new one."""
    return Session()


@pytest.fixture
def device(cast: Cast) -> Device:
    """The head roaster's phone."""
    made = Device()
    made.of(cast.head_roaster)
    return made


Sign = Callable[..., Signature]


@pytest.fixture
def approve(cast: Cast) -> Sign:
    """A head roaster signs version 7, or something else."""

    def signing(dialog: Dialog, by: User = cast.head_roaster, **other: object) -> Signature:
        said: dict[str, object] = {
            "meaning": Meaning.APPROVED, "digest": "0f" * 32, "subject_type": "version",
            "subject_id": 7, "verb": Verb.RECIPE_APPROVE,
        }  # fmt: skip
        with recorded(by=by, action=OWN_ACCOUNT):
            return sign(by=by, credentials=Credentials("", passkey=dialog), **said | other)  # type: ignore[arg-type]

    return signing


@pytest.fixture
def ask(session: Session, approve: Sign) -> Callable[..., Options]:
    """What the page is given to ask."""

    def asking(**other: object) -> Options:
        dialog = session.dialog()
        with pytest.raises(OneMoreStep):
            approve(dialog, **other)
        assert dialog.options is not None
        return dialog.options

    return asking


Ask = Callable[..., Options]


@pytest.fixture
def signed(session: Session, device: Device, ask: Ask, approve: Sign) -> Signature:
    """Version 7, approved with a passkey."""
    return approve(session.dialog(device.answer_to(ask())))
