"""What the database itself refuses to do to a signed publication."""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.planning.guards import SIGN_AGAIN, changed, guards, moves, signed
from recipes.versions.guards import refuse

# Invariant 8: as long as one slot waits, the sweep must find the publication under way.
UNFINISHED = refuse(
    """NEW.state = 'complete' AND OLD.state <> 'complete' AND EXISTS (
        SELECT 1 FROM stations_placement p
        WHERE p.basis = 'publication' AND p.basis_id = NEW.id AND p.state = 'scheduled')""",
    "A publication is complete only once every slot is placed.",
    "The worker completes it by itself; or stop and cancel it.",
)

PUBLISHED = (
    "version_id menu_version_id author_id reason scope scope_label local_date local_time"
    " plan_digest acknowledgement accepted signature_id made_at lot_id"
)


OF_ITS_COFFEE = refuse(
    """NEW.lot_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM recipes_roastlot l
        JOIN recipes_recipe r ON r.coffee_id = l.coffee_id
        JOIN recipes_version v ON v.recipe_id = r.id
        WHERE l.id = NEW.lot_id AND v.id = NEW.version_id)""",
    "A publication waits for a lot of the coffee that its version is of.",
    SIGN_AGAIN,
)


def publication_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed, and the order of a publication's life."""
    life = moves(
        "('running', 'stopped'), ('running', 'complete'), ('stopped', 'running'),"
        " ('stopped', 'cancelled')",
        "publication",
    )
    coffee = FirmTrigger(
        name="a_guard_insert",
        operation=pgtrigger.Insert,
        when=pgtrigger.Before,
        func=OF_ITS_COFFEE + "RETURN NEW;",
    )
    update = signed(PUBLISHED, "publication") + life + UNFINISHED + OF_ITS_COFFEE
    return [coffee, *guards(update, "publication")]


# A count that says fewer are left than wait would call a publication complete before its time, and
# one that was cancelled on paper would still come into force.
WAITS_UNCOUNTED = """EXISTS (SELECT 1 FROM changed n JOIN original o ON o.id = n.id
        WHERE n.cancelled > o.cancelled)
    AND EXISTS (SELECT 1 FROM changed n JOIN (
            SELECT p.basis_id, p.site_id, count(*) AS slots FROM stations_placement p
            WHERE p.basis = 'publication' AND p.state = 'scheduled'
                AND p.basis_id IN (SELECT publication_id FROM changed)
            GROUP BY p.basis_id, p.site_id) waits
        ON waits.basis_id = n.publication_id AND waits.site_id = n.site_id
        WHERE waits.slots > n.slots - n.placed - n.cancelled)"""
GIVEN_UP = FirmTrigger(
    name="a_guard_given_up",
    level=pgtrigger.Statement,
    when=pgtrigger.After,
    operation=pgtrigger.Update,
    referencing=pgtrigger.Referencing(old="original", new="changed"),
    func=refuse(
        WAITS_UNCOUNTED,
        "Slots are counted as cancelled only once they wait no more.",
        "Cancel them at the site: that gives up both at once.",
    )
    + "RETURN NULL;",
)


def share_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep a publication's share of one site: what is placed stays counted."""
    kept = refuse(
        changed("publication_id site_id due_at slots refusals"),
        "What a publication places at a site, and when, never changes.",
        SIGN_AGAIN,
    )
    counted = refuse(
        "NEW.placed < OLD.placed OR NEW.cancelled < OLD.cancelled",
        "What was placed or cancelled stays counted.",
        SIGN_AGAIN,
    )
    return [*guards(kept + counted, "publication"), GIVEN_UP]
