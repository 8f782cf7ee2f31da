"""What every endpoint refuses before it looks at values: keys, tags, media types, no JSON."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.urls import reverse

from tests.bad_input.asking import Answer, encoded, send
from tests.bad_input.call import Call
from tests.bad_input.calls import CALLS
from tests.bad_input.described import description, template_of
from tests.bad_input.test_bodies import Sweep
from tests.bad_input.things import Things
from tests.bad_input.values import some

pytestmark = pytest.mark.django_db
JSON = "application/json"
NO_JSON: list[bytes] = [
    b"{", b"nonsense", b"\xff\xfe", b"\x00", b'{"a": NaN}', b'{"a": -Infinity}', b'{"a": 01}',
    b'{"a": 1, "a": 2}', b"[" * 5000, b'{"a": "half \\ud800"}', b"'a'", b"{} {}",
]  # fmt: skip
OTHER_KINDS = ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x",
               "application/xml"]  # fmt: skip
NO_KEYS = ["", "short", "with blanks in it", "x" * 200, "ключ-ключ-ключ", "\x07bellbell"]
NO_TAGS = {"": 428, "*": 428, "nonsense": 428, 'W/"none-1-1"': 412, '"none-1-1"': 412,
           '"coffee-1-99999999999999999999"': 412}  # fmt: skip


@dataclass(frozen=True)
class Sent:
    """A good call, to be spoilt in one respect."""

    call: Call
    trial: Sweep

    def send(self, sent: bytes | str = "", kind: str = JSON, **headers: str) -> Answer:
        """The answer to it with these headers; one that is empty is not sent."""
        good = {"Idempotency-Key": uuid.uuid4().hex, **self.trial.headers}
        named = {**good, **{name.replace("_", "-"): value for name, value in headers.items()}}
        kept = {name: value for name, value in named.items() if value}
        trial, who = self.trial, self.trial.things.who(self.call.who)
        body = sent or encoded(trial.good)
        return send(trial.things.world, who, self.call.method, trial.url, sent=body, kind=kind,
                    headers=kept, keyed=False)  # fmt: skip

    def headers(self) -> set[str]:
        """The headers that its description asks for."""
        operation = description()["paths"][template_of(self.trial.url)][self.call.method.lower()]
        return {each["name"] for each in operation.get("parameters", []) if each["in"] == "header"}


def every_call(things: Things) -> Iterator[Sent]:
    """All of them."""
    for space, calls in CALLS.items():
        for call in calls:
            yield Sent(call, Sweep(call, space, things))


def test_no_json(things: Things) -> None:
    slips = []
    for place, sent in enumerate(each for each in every_call(things) if each.trial.good):
        bodies, kinds = some(NO_JSON, place, 3), some(OTHER_KINDS, place, 1)
        tried = [(sent.send(body), str(body), 400) for body in bodies]
        tried += [(sent.send(kind=kind), kind, 415) for kind in kinds]
        slips += [
            f"{sent.call.id} {what[:20]}: {answer.status} {answer.detail[:80]}"
            for answer, what, status in tried
            if answer.status != status or answer.wrote or not answer.detail
        ]
    assert not slips, "\n" + "\n".join(slips)


def test_no_key(things: Things) -> None:
    slips = []
    for place, sent in enumerate(every_call(things)):
        keys = some(NO_KEYS, place, 2) if "Idempotency-Key" in sent.headers() else []
        for key in keys:
            answer = sent.send(Idempotency_Key=key)
            if answer.status != 400 or answer.wrote or "Idempotency-Key" not in answer.detail:
                slips.append(f"{sent.call.id} {key!r}: {answer.status} {answer.detail[:80]}")
    assert not slips, "\n" + "\n".join(slips)


def test_no_tag(things: Things) -> None:
    slips = []
    for sent in every_call(things):
        for tag, status in NO_TAGS.items() if "If-Match" in sent.headers() else ():
            answer = sent.send(If_Match=tag)
            if answer.status != status or answer.wrote or not answer.detail:
                slips.append(f"{sent.call.id} {tag!r}: {answer.status} {answer.detail[:80]}")
    assert not slips, "\n" + "\n".join(slips)


@pytest.mark.parametrize("secret", ["", "x", "pl_" + "x" * 43, "ü", "\x07", "x" * 9000])
def test_no_token(things: Things, secret: str) -> None:
    url = reverse("recipes_api:coffees")
    browser = things.world.browser_of(None)
    answer = browser.get(url, headers={"Authorization": f"Bearer {secret}"})
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
