"""Something in every slot of a chain, and what became of it: recipes published, read back, poured.

The newest round is published as the program does it, so that what is shown is what was signed;
older rounds, read-backs and shots are written in bulk, with the triggers standing aside.
"""

from datetime import UTC, datetime

from django.db import connection

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from recipes.coffees.models import Coffee, Recipe
from recipes.publishing.actions import publish
from recipes.publishing.plan import make_plan
from recipes.publishing.run import run
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from tests.bar import approved, draft
from tests.benchmarks.chain import SLOTS, Chain
from tests.cast import credentials

DRINKS = ("Single espresso", "Double espresso", "Long espresso")
ROUNDS = 4  # older placements of each slot, a month apart

# What each slot held before: the same, under documents of older rounds.
OLDER = """
INSERT INTO stations_placement (slot_id, site_id, settings_id, basis, basis_id, manner,
    signature_id, state, verdict, due_at, started_at, ended_at, superseded_by_id)
SELECT p.slot_id, p.site_id, p.settings_id, p.basis, p.basis_id + 1000000 * r, p.manner,
    p.signature_id, 'ended', 'matches', p.due_at - r * interval '30 days',
    p.started_at - r * interval '30 days',
    p.started_at - (r - 1) * interval '30 days' - interval '1 second',
    CASE WHEN r = 1 THEN p.id END
FROM stations_placement p CROSS JOIN generate_series(1, %(rounds)s) AS r
WHERE p.state = 'in_force'
"""
BACKDATED = """
UPDATE stations_placement SET started_at = started_at - interval '10 days',
    due_at = due_at - interval '10 days',
    verdict = CASE WHEN slot_id %% 50 = 0 THEN 'differs' WHEN slot_id %% 30 = 1 THEN 'unread'
        ELSE 'matches' END
WHERE state = 'in_force'
"""
READ = """
INSERT INTO stations_readback (slot_id, placement_id, by_id, at, found, verdicts, verdict)
SELECT slot_id, id, %(by)s, started_at + interval '1 hour', '{}', '{}', verdict
FROM stations_placement WHERE verdict <> 'unread' AND state IN ('in_force', 'ended')
"""
POURED = """
INSERT INTO stations_checkshot (slot_id, site_id, placement_id, by_id, at, dose_mass, beverage_mass,
    shot_time, note, left_out, verdicts, verdict, corrections)
SELECT p.slot_id, p.site_id, p.id, %(by)s,
    now() - i * interval '1 day' - p.slot_id %% 86400 * interval '0.5 second', 18.0,
    36.0 + CASE WHEN p.site_id %% 100 = 0 THEN 6 ELSE 0 END + h.a / 1000.0, 28, '', false,
    CASE WHEN p.site_id %% 100 = 0 THEN '{"beverage_mass": "high"}'
        ELSE '{"beverage_mass": "within"}' END::jsonb,
    CASE WHEN p.site_id %% 100 = 0 THEN 'outside' ELSE 'within' END, 0
FROM stations_placement p CROSS JOIN generate_series(0, %(days)s) AS i
CROSS JOIN LATERAL (SELECT hashint8(p.id * 31 + i) %% 1000 AS a) h
WHERE p.state = 'in_force'
"""


def hold(chain: Chain, days: int = 8) -> list[Version]:
    """A recipe for each slot number, published everywhere; shots of the last days."""
    versions = [chain.version, *_others(chain)]
    for at, version in enumerate(versions):
        _published(chain, version, at + 1)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        who = {"by": chain.cast.barista.pk, "rounds": ROUNDS, "days": days}
        for statement in (BACKDATED, OLDER, READ, POURED):
            cursor.execute(statement, who)
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("VACUUM ANALYZE")
    return versions


def _others(chain: Chain) -> list[Version]:
    """Approved versions of the drinks of two coffees more than the chain's own."""
    with recorded(by=None, action=PERSON_ADDED):
        coffees = [Coffee.objects.create(name=name, rest_from=7, rest_to=28) for name in "AB"]
        pairs = [(coffee, drink) for coffee in coffees for drink in DRINKS][: SLOTS - 1]
        return [
            approved(chain.cast, draft(chain.cast, recipe=Recipe.objects.create(coffee=c, drink=d)))
            for c, d in pairs
        ]


def _published(chain: Chain, version: Version, number: int) -> None:
    who, scope = chain.cast.head_roaster, Scope(Where.ALL, slot_numbers=(number,))
    seen = make_plan(version=version, scope=scope, when=When(), by=who, now=datetime.now(UTC))
    if not seen.to_place:
        return  # the lines of placing left it there
    made = publish(
        by=who, version=version, scope=scope, when=When(), reason="New crop", seen=seen.digest,
        acknowledged=True, learnt_until=seen.learnt_until, credentials=credentials(who),
    )  # fmt: skip
    run(made.pk)
