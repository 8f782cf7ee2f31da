"""A person who publishes."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from people.persons.models import User
from recipes.publishing.actions import publish
from recipes.publishing.models import Publication
from recipes.publishing.plan import PublicationPlan, make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from tests.bar import Bar
from tests.cast import credentials

EVERYWHERE = Scope(Where.ALL)


def plan_of(
    version: Version, by: User, scope: Scope = EVERYWHERE, when: When | None = None
) -> PublicationPlan:
    """The plan as somebody sees it now."""
    now = datetime.now(UTC)
    return make_plan(version=version, scope=scope, when=when or When(), by=by, now=now)


def ordered(
    version: Version,
    scope: Scope,
    when: When,
    reason: str,
    seen: str,
    *,
    acknowledged: bool = False,
    learnt_until: datetime | None = None,
) -> dict[str, Any]:
    """What somebody who saw a plan asks ``publish`` for, but for their name."""
    return {
        "version": version, "scope": scope, "when": when, "reason": reason, "seen": seen,
        "acknowledged": acknowledged, "learnt_until": learnt_until,
    }  # fmt: skip


Publish = Callable[..., Publication]


@pytest.fixture
def send(bar: Bar) -> Publish:
    """Plan and sign in one go: ``send(version, scope=…, when=…, by=…)``."""

    def go(
        version: Version | None = None,
        scope: Scope = EVERYWHERE,
        when: When | None = None,
        by: User | None = None,
    ) -> Publication:
        who, what = by or bar.cast.head_roaster, version or bar.version
        seen = plan_of(what, who, scope, when)
        order = ordered(
            what, scope, when or When(), "New crop", seen.digest, acknowledged=True,
            learnt_until=seen.learnt_until,
        )  # fmt: skip
        return publish(**order, by=who, credentials=credentials(who))

    return go


@pytest.fixture
def quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    """No worker is told: tests that commit run publications themselves."""
    monkeypatch.setattr("recipes.publishing.actions.start", lambda publication_id: None)
