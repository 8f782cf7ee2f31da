"""Whatever a program sends wrongly is refused with a sentence that names the field.

Each endpoint's own good body is taken; every place of it is replaced by each bad value for what
stands there. Nothing may be written, and nothing may crash.
"""

from collections.abc import Iterator

import pytest
from django.urls import reverse

from tests.bad_input.asking import Answer, encoded, send
from tests.bad_input.bodies import places, replaced, without
from tests.bad_input.call import Call
from tests.bad_input.calls import CALLS
from tests.bad_input.described import body_of, operations, template_of
from tests.bad_input.things import Things
from tests.bad_input.values import bad_for, kind_of, some

pytestmark = pytest.mark.django_db
ELSEWHERE = {
    ("POST", "/api/v1/sites/{code}/read-backs/"): "a gateway's token: test_gateways",
    ("POST", "/api/v1/gateway/enrol"): "signed requests: tests/stations/gateways",
    ("POST", "/api/v1/gateway/events"): "signed requests: tests/stations/gateways",
    ("POST", "/api/v1/gateway/key"): "signed requests: tests/stations/gateways",
    ("POST", "/api/v1/recipe-documents/"): "by a schema of its own: tests/recipes/exchange",
    ("POST", "/api/v1/sessions/{id}/end/"): "somebody signed in elsewhere: test_sessions",
}
UNNAMED = {404, 409, 412, 428}  # about the whole, not about a value


class Sweep:
    """One endpoint being tried."""

    def __init__(self, call: Call, space: str, things: Things) -> None:
        self.call, self.things, self.slips = call, things, list[str]()
        name = f"{space}:{call.name}"
        address = {"pk": call.pk(things)} if call.pk else things.world.address(call.thing, "own")
        self.url = reverse(name, kwargs=address)
        self.good = call.body(things)
        self.headers = {"If-Match": self._tag()}

    def _tag(self) -> str:
        browser = self.things.world.browser_of(self.things.who(self.call.who))
        for url in (self.url, self.url.rstrip("/").rpartition("/")[0] + "/"):
            if tag := browser.get(url).get("ETag"):
                return str(tag)
        return '"none-1-1"'

    def send(self, body: object) -> Answer:
        """The answer to a body."""
        who, call = self.things.who(self.call.who), self.call
        return send(
            self.things.world, who, call.method, self.url, sent=encoded(body), headers=self.headers
        )

    def expect_good(self) -> None:
        """The table's body is what the endpoint takes: only then is a refusal about the value."""
        answer = self.send(self.good)
        if answer.status != self.call.good:
            self.slips.append(f"{self.call.id}: {answer.status} for a good body: {answer.detail}")

    def expect_refusal(self, body: object, place: str, value: object) -> None:
        """A 4xx that names the place; nothing written."""
        answer, words = self.send(body), f"{self.call.id} {place}={str(value)[:60]!r}"
        if not answer.refused:
            self.slips.append(f"{words}: {answer.status} {answer.detail[:200]}")
        elif answer.wrote:
            self.slips.append(f"{words}: {answer.status}, but something was written")
        elif not answer.kind.startswith("application/problem+json"):
            self.slips.append(f"{words}: {answer.status} as {answer.kind}")
        elif answer.status not in UNNAMED and not self.names(answer, place, value):
            self.slips.append(f"{words}: {answer.status} names {set(answer.fields)}: "
                              f"{answer.detail[:120]}")  # fmt: skip

    def names(self, answer: Answer, place: str, value: object) -> bool:
        """Whether a refusal says what it is about: the place, or something inside it."""
        below = [part for part, _ in places(self.good) if part.startswith(place)]
        inside = [part.rpartition(".")[2] for part in below]
        inside += [part.rpartition(".")[2] for part, _ in places(value)]
        words = {*place.split("."), *inside, *self.call.named}
        # Which of the two is wrong is not told: that would help somebody who is guessing.
        words |= {"password"} if place == "email" else set()
        told = " ".join(answer.fields) + answer.detail
        return any(word in told for word in words if word and not word.isdigit())


def together(good: object, call: Call) -> Iterator[dict[str, object]]:
    """Bad values for all places at once, round by round: most are named in one answer."""
    leaves = [(place, value) for place, value in places(good) if not isinstance(value, dict | list)]
    bad = {place: [*bad_for(kind_of(value))] for place, value in leaves}
    for place, values in bad.items():
        fine = call.fine.get(place, ())
        bad[place] = [value for value in values if value not in fine]
    for number in range(max(map(len, bad.values()), default=0)):
        yield {place: values[number] for place, values in bad.items() if number < len(values)}


def singly(good: object, call: Call) -> Iterator[tuple[str, object]]:
    """What is tried one by one: other types for whole lists and objects, and the table's own."""
    for place, value in places(good):
        if isinstance(value, dict | list):
            wrong = bad_for(kind_of(value))
            yield from ((place, bad) for bad in some(wrong, len(call.name + place), 3))
    for place, values in call.also.items():
        yield from ((place, bad) for bad in some(values, len(call.name + place), 4))


def sweep(call: Call, space: str, things: Things) -> list[str]:
    """Everything that is not refused as it should be."""
    trial = Sweep(call, space, things)
    trial.expect_good()
    for values in together(trial.good, call):
        body = trial.good
        for place, value in values.items():
            body = replaced(body, place, value)
        named = trial.send(body).fields
        for place in values.keys() - named:
            trial.expect_refusal(replaced(trial.good, place, values[place]), place, values[place])
    for place, value in singly(trial.good, call):
        trial.expect_refusal(replaced(trial.good, place, value), place, value)
    _whole(trial)
    return trial.slips


def _whole(trial: Sweep) -> None:
    """Nothing, null, strangers and the wrong shape of the whole."""
    described = body_of(trial.url, trial.call.method)
    if not described:
        return
    for name in described.get("required", []):
        trial.expect_refusal(without(trial.good, name), name, "(missing)")
    for name, field in described["properties"].items():
        if name in trial.good and not field.get("nullable"):
            trial.expect_refusal(replaced(trial.good, name, None), name, None)
    trial.expect_refusal({**trial.good, "colour": "brown"}, "colour", "(unknown)")
    for whole in ([], "x", 7, True, [trial.good]):
        answer = trial.send(whole)
        if not answer.refused or answer.wrote:
            trial.slips.append(f"{trial.call.id}: {answer.status} for the body {str(whole)[:40]}")


def test_every_endpoint_with_a_body_is_swept(things: Things) -> None:
    swept = {
        (call.method, template_of(Sweep(call, space, things).url))
        for space, calls in CALLS.items()
        for call in calls
    }
    described = {(method, path) for path, method, what in operations() if "requestBody" in what}
    assert described - swept - set(ELSEWHERE) == set(), "endpoints without a row in calls.py"


@pytest.mark.parametrize(("space", "part"), [(space, part) for space in CALLS for part in (0, 1)])
def test_bodies(things: Things, space: str, part: int) -> None:
    slips = [slip for call in CALLS[space][part::2] for slip in sweep(call, space, things)]
    assert not slips, "\n" + "\n".join(slips)
