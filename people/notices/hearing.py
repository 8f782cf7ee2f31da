"""Which matters a person hears of: by their roles and sites now, in SQL for all at once."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import connection
from django.db.models import QuerySet

from people.notices.kinds import kinds
from people.notices.models import Matter
from people.persons.models import User

# Everybody whose role at the matter's sites lets them do what its kind asks for. `wanted` is a
# condition on the matter `m`, `who` one on the assignment `a`.
HEARD = """
kinds AS MATERIALIZED (
    SELECT * FROM unnest(%(kinds)s::text[], %(everywhere)s::bool[], %(usual)s::text[],
        %(waits)s::float[]) k(kind, everywhere, usual, wait)
), hearing AS MATERIALIZED (
    SELECT * FROM unnest(%(hearing)s::text[], %(roles)s::text[]) h(kind, role)
), open AS MATERIALIZED (
    SELECT m.id, m.kind, m.sites, m.to_id, m.not_for, m.url, m.arose_at, k.everywhere, k.usual,
        k.wait, m.early
    FROM people_matter m JOIN kinds k USING (kind) WHERE m.ended_at IS NULL AND {wanted}
), reached AS (
    SELECT o.id AS matter, a.user_id AS person
    FROM open o JOIN hearing h USING (kind)
        JOIN people_assignment a ON a.role = h.role AND a.site_id IS NULL AND {who}
    UNION
    SELECT o.id, a.user_id
    FROM open o CROSS JOIN LATERAL unnest(o.sites) s(site) JOIN hearing h USING (kind)
        JOIN people_assignment a ON a.role = h.role AND a.site_id = s.site AND {who}
    WHERE NOT o.everywhere
    UNION
    SELECT o.id, a.user_id
    FROM open o JOIN hearing h USING (kind)
        JOIN people_assignment a ON a.role = h.role AND a.site_id IS NOT NULL AND {who}
    WHERE o.sites IS NULL AND NOT o.everywhere
), heard AS (
    SELECT r.matter, r.person FROM reached r
        JOIN open o ON o.id = r.matter
        JOIN people_user u ON u.id = r.person AND u.is_active
    WHERE (o.to_id IS NULL OR o.to_id = r.person) AND r.person <> ALL(o.not_for)
)
"""
PAIRS = (
    "WITH "  # noqa: S608 - constants of ours
    + HEARD.format(wanted="m.id = ANY(%(matters)s)", who="a.user_id = ANY(%(people)s)")
    + "SELECT matter, person FROM heard"
)
OWN = (
    "WITH "  # noqa: S608 - constants of ours
    + HEARD.format(wanted="true", who="a.user_id = %(person)s")
    + "SELECT matter FROM heard ORDER BY matter DESC LIMIT %(most)s"
)


def of_kinds() -> dict[str, Any]:
    """The kinds as HEARD asks for them."""
    known = kinds().values()
    pairs = [(kind.code, role.value) for kind in known for role in kind.roles]
    return {
        "kinds": [kind.code for kind in known],
        "everywhere": [kind.everywhere for kind in known],
        "usual": [kind.usual.value for kind in known],
        "waits": [kind.wait.total_seconds() for kind in known],
        "hearing": [kind for kind, _ in pairs],
        "roles": [role for _, role in pairs],
    }


def still_heard(pairs: Iterable[tuple[int, int]]) -> set[tuple[int, int]]:
    """Of these (matter, person) those that last, and that the person may hear of now."""
    wanted = set(pairs)
    found = _rows(
        PAIRS,
        {
            "matters": list({matter for matter, _ in wanted}),
            "people": list({person for _, person in wanted}),
        },
    )
    return wanted & {(matter, person) for matter, person in found}


def matters_of(person: User, most: int) -> "QuerySet[Matter]":
    """What there is now for one person, the newest first; at most so many."""
    found = [row[0] for row in _rows(OWN, {"person": person.pk, "most": most})]
    return Matter.objects.filter(pk__in=found).order_by("-id")


def kinds_heard_by(person: User) -> list[str]:
    """The kinds that any role of theirs brings."""
    held = person.roles_held()
    return [
        kind.code
        for kind in kinds().values()
        if any(
            each.role in kind.roles and (each.site_id is None or not kind.everywhere)
            for each in held
        )
    ]


def _rows(sql: str, given: Mapping[str, Any]) -> list[tuple[int, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, {**of_kinds(), **given})
        return list(cursor.fetchall())
