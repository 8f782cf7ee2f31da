"""One request, undone afterwards: what was answered, and whether anything was written."""

import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, cast

from django.apps import apps
from django.db import connection, transaction
from django.db.models import Max
from django.http import HttpResponseBase

from audit.capture.models import Entry
from people.persons.models import User
from tests.permissions.world import World

OURS = ("people", "stations", "recipes")
JSON = "application/json"


@dataclass(frozen=True)
class Answer:
    """What came back; `fields` are the places that a problem names."""

    status: int
    kind: str
    detail: str
    fields: frozenset[str]
    wrote: bool
    response: HttpResponseBase

    @property
    def refused(self) -> bool:
        """Whether it is an answer to something wrong that the caller sent."""
        return 400 <= self.status < 500


def send(
    world: World,
    who: User,
    method: str,
    url: str,
    *,
    sent: bytes | str = "",
    kind: str = JSON,
    headers: Mapping[str, str] | None = None,
    keyed: bool = True,
) -> Answer:
    """Send it as somebody, with a fresh Idempotency-Key unless ``keyed`` says otherwise."""
    fresh = {"Idempotency-Key": uuid.uuid4().hex} if keyed else {}
    given = {**fresh, **(headers or {})}
    browser = world.browser_of(who)
    with transaction.atomic():
        before = _written()
        answered = browser.generic(method, url, sent, content_type=kind, headers=given)
        wrote = not connection.needs_rollback and _written() != before
        transaction.set_rollback(True)
    response = cast(HttpResponseBase, answered)
    told = _told(response)
    fields = frozenset(_place(problem["field"]) for problem in told.get("problems", []))
    detail = str(told.get("detail", ""))
    return Answer(
        response.status_code, response.get("Content-Type", ""), detail, fields, wrote, response
    )


def encoded(body: object) -> str:
    """JSON, also for what a well-behaved program would not send."""
    return json.dumps(body)


def _told(response: HttpResponseBase) -> dict[str, Any]:
    content = getattr(response, "content", b"")
    if "json" not in response.get("Content-Type", "") or not content:
        return {}
    told = json.loads(content)
    return told if isinstance(told, dict) else {}


def _place(field: str) -> str:
    """abilities[0].minimum as abilities.0.minimum."""
    return re.sub(r"\[([0-9]+)\]", r".\1", field)


@cache
def _counting() -> str:
    kept = [model for label in OURS for model in apps.get_app_config(label).get_models()]
    tables = sorted(model._meta.db_table for model in kept)
    counts = ", ".join(f'(SELECT count(*) FROM "{table}")' for table in tables)
    return f"SELECT {counts}"


def _written() -> tuple[object, ...]:
    """Row counts of our tables, and the newest history entry that is not of a refusal."""
    with connection.cursor() as cursor:
        cursor.execute(_counting())
        counts: tuple[object, ...] = cursor.fetchone()
    newest = Entry.objects.exclude(operation="refused").aggregate(Max("id"))["id__max"]
    return (*counts, newest)
