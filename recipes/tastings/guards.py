"""What the database refuses to do to a tasting: the plan stays, the answers close, then the key."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.versions.guards import refuse

ANEW = "Plan another tasting."
PLAN = (
    "site_id method aim share base_id other_id first_sample second_sample risk assessments"
    " servings_each seed"
    " planned_by_id planned_at"
)


def tasting_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep the plan, the order of its states, and what it is evidence for."""
    changed = " OR ".join(f"NEW.{c} IS DISTINCT FROM OLD.{c}" for c in PLAN.split())
    kept = refuse(changed, "What a tasting compares, and how, never changes.", ANEW)
    order = refuse(
        "NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN"
        " (('planned', 'locked'), ('locked', 'opened'))",
        "Answers are locked first, then the key opens, and neither is undone.",
        ANEW,
    )
    evidence = refuse(
        "(NEW.for_request_id, NEW.for_version_id) IS DISTINCT FROM"
        " (OLD.for_request_id, OLD.for_version_id) AND (OLD.state <> 'opened'"
        " OR OLD.for_request_id IS NOT NULL AND NEW.for_request_id IS DISTINCT FROM"
        " OLD.for_request_id OR OLD.for_version_id IS NOT NULL AND NEW.for_version_id"
        " IS DISTINCT FROM OLD.for_version_id)",
        "Only an opened tasting is evidence, and it stays where it was attached.",
        ANEW,
    )
    begins = refuse("NEW.state <> 'planned'", "A tasting begins as a plan.", ANEW)
    stays = refuse("TRUE", "A tasting is never removed.", ANEW)
    return [
        _before("insert", pgtrigger.Insert, begins + "RETURN NEW;"),
        _before("update", pgtrigger.Update, kept + order + evidence + "RETURN NEW;"),
        _before("delete", pgtrigger.Delete, stays + "RETURN OLD;"),
    ]


def answer_guards() -> list[pgtrigger.Trigger]:
    """Triggers that let answers change only until they are locked.

    The share lock makes an answer and the locking of its tasting wait for each other.
    """

    def open_only(row: str) -> str:
        wait = f"PERFORM 1 FROM recipes_tasting t WHERE t.id = {row}.tasting_id FOR SHARE;"
        closed = (
            f"EXISTS (SELECT 1 FROM recipes_tasting t WHERE t.id = {row}.tasting_id"
            " AND t.state <> 'planned')"
        )
        return wait + refuse(closed, "The answers of this tasting are locked.", ANEW)

    return [
        _before("insert", pgtrigger.Insert, open_only("NEW") + "RETURN NEW;"),
        _before("update", pgtrigger.Update, open_only("OLD") + open_only("NEW") + "RETURN NEW;"),
        _before("delete", pgtrigger.Delete, open_only("OLD") + "RETURN OLD;"),
    ]


def _before(name: str, operation: pgtrigger.Operation, body: str) -> pgtrigger.Trigger:
    return FirmTrigger(
        name=f"a_guard_{name}",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=operation,
        func=body,
    )
