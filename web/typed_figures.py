"""What was typed in °F or oz is kept as it was typed, beside what became of it."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection
from django.forms import BaseForm

from audit.capture.context import closing_with
from web.fields import PlainDecimalField
from web.models import TypedFigure

# The last thing that this transaction wrote down is what the figures were typed for.
ABOUT = """
SELECT subject_type, subject_id, subject, site_id FROM audit_entry
WHERE id > %s AND txid = pg_current_xact_id()::text::bigint ORDER BY id DESC LIMIT 1
"""
NEAR = 1_000_000  # entries: more than any transaction writes beside this one


def converted_figures(form: BaseForm) -> list[TypedFigure]:
    """The figures of a valid form that were changed, and typed in another unit."""
    changed = set(form.changed_data)
    return [
        TypedFigure(
            field=name[:100], label=str(field.label or name)[:200], value=field.entered.value,
            unit=field.entered.unit, stored=field.entered.stored,
        )
        for name, field in form.fields.items()
        if isinstance(field, PlainDecimalField) and field.entered is not None
        if field.entered.is_converted and name in changed
    ]  # fmt: skip


@contextmanager
def keeping_typed(form: BaseForm) -> Iterator[None]:
    """Whatever action runs inside keeps the form's figures as they were typed, in one with it."""
    figures = converted_figures(form) if form.is_bound and form.is_valid() else []
    if not figures:
        yield
        return
    with closing_with(lambda: _keep(figures)):
        yield


def _keep(figures: list[TypedFigure]) -> None:
    """Nothing where the action changed nothing."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT coalesce(max(id), 0) FROM audit_entry")
        cursor.execute(ABOUT, [cursor.fetchone()[0] - NEAR])
        about = cursor.fetchone()
    if about is None:
        return
    for one in figures:
        one.subject_type, one.subject_id, one.subject, one.site_id = about
    TypedFigure.objects.bulk_create(figures)
