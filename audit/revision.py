"""Edits that lose to a newer edit instead of overwriting it."""

from django.db import models

from audit.errors import NotFound, Stale


class Revised(models.Model):
    """A row whose every edit names the revision it was made from."""

    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        """No table of its own."""

        abstract = True


def compare_and_set(obj: Revised, expected: int, **fields: object) -> None:
    """Set `fields` if the row is still at revision `expected`, and count the revision up.

    One UPDATE, so that of two racing edits exactly one wins. Raises Stale (with the current
    revision) or NotFound if the row is gone. `obj` carries the new values afterwards.
    """
    rows = type(obj)._base_manager.filter(pk=obj.pk)
    changed = rows.filter(revision=expected).update(revision=expected + 1, **fields)
    if changed != 1:
        current = rows.values_list("revision", flat=True).first()
        if current is None:
            raise NotFound("It is no longer there.")
        raise Stale("It was changed meanwhile: look at the newest state first.", current)
    for name, value in {**fields, "revision": expected + 1}.items():
        setattr(obj, name, value)


def must_be_at(thing: Revised, revision: int) -> None:
    """Raise Stale if the caller looked at another revision than the row has now."""
    if revision != thing.revision:
        raise Stale(
            f"{thing} was changed meanwhile: look at its newest state first.", thing.revision
        )


def lock(model: type[Revised], pk: int) -> None:
    """Wait for the bare row, then let the caller read it with all that belongs to it.

    Locked and joined in one statement, PostgreSQL would hold the row's new foreign keys against
    the joined rows of before the wait, and find nothing. Unordered, because an ordering by other
    tables would lock their rows too, and in another order than the next action does.
    Raises NotFound.
    """
    rows = model._base_manager.select_for_update().order_by().filter(pk=pk).values_list("pk")
    if not rows:
        raise NotFound("It is no longer there.")
