"""One line of the history in a list."""

from datetime import datetime

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from audit.reading.changes import Change
from audit.reading.named import Thing
from audit.reading.rows import Row
from web import drawn, printing

register = template.Library()


@register.filter
def in_short(row: Row) -> SafeString | str:
    """What was changed, as much as a list has room for; of a refusal, its answer."""
    if row.is_refused:
        return _refusal(row)
    head = "" if row.is_change else f"{row.operation}. "
    about = f"{row.parameter_label}, " if row.parameter_label else ""
    changes = format_html_join("; ", "{}", ((_change(row, one),) for one in row.first_changes))
    more = format_html('; <a href="{}">{} more</a>', row.url, row.more) if row.more else ""
    return format_html("{}{}{}{}", head, about, changes, more)


def _refusal(row: Row) -> SafeString | str:
    """Its answer; and where the same was tried again and again, how often and since when."""
    if not row.again:
        return row.answer
    return format_html(
        "{} {} since {}.", row.answer, row.again, drawn.second(row.first_at, row.zone)
    )


def _change(row: Row, change: Change) -> SafeString:
    new = _value(row, change, change.new)
    if change.old is None:
        return format_html("{}: {}", change.label, new)
    return format_html("{}: {} → {}", change.label, _value(row, change, change.old), new)


def _value(row: Row, change: Change, value: object) -> str:
    """On the clock of the row's site, where it is a moment."""
    if isinstance(value, datetime):
        return drawn.second(value, row.zone)
    if isinstance(value, Thing):
        return format_html('<a href="{}">{}</a>', value.url, value) if value.url else value.name
    return drawn.as_stored(value, change.unit)


@register.filter
def at(row: Row) -> str:
    """When, on the clock that the column's head names."""
    return drawn.second(row.entry.at, row.zone, bare=True)


@register.filter
def approval(row: Row) -> SafeString | str:
    """On whose approval it stands: name, role, meaning and day; or that there is none."""
    if row.approval is None:
        return ""
    signed = row.approval.signature
    if signed is None:
        return row.approval.words
    url = reverse("audit:timeline", args=["signature", signed.pk])
    who = format_html('<a href="{}">{}: {}</a>', url, signed.meaning, signed.name)
    return format_html("{}, {}, {}", who, signed.role.lower(), printing.day(signed.at, row.zone))


@register.filter
def about(row: Row) -> SafeString:
    """What it is about, leading to all that happened to it, and where."""
    at = format_html(' <span class="soft">at {}</span>', row.site.name) if row.site else ""
    if not row.entry.subject_type:
        return format_html("{}", at)
    name = row.subject
    if row.timeline_url:
        name = format_html('<a href="{}">{}</a>', row.timeline_url, name or row.entry.subject_id)
    return format_html("{}: {}{}", row.kind, name, at)
