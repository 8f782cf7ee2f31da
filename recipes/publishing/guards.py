"""What the database itself refuses to do to a signed publication."""

import pgtrigger

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
    "version_id author_id reason scope scope_label local_date local_time plan_digest"
    " acknowledgement accepted signature_id made_at"
)


def publication_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep what was signed, and the order of a publication's life."""
    life = moves(
        "('running', 'stopped'), ('running', 'complete'), ('stopped', 'running'),"
        " ('stopped', 'cancelled')",
        "publication",
    )
    return guards(signed(PUBLISHED, "publication") + life + UNFINISHED, "publication")


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
    return guards(kept + counted, "publication")
