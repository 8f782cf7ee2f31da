"""Who reads, by which clock, and for whom the hour of what is collected has come."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from people.mailing.models import Undeliverable
from people.notices.models import USUAL_DAY, USUAL_HOUR
from people.persons.models import Assignment, User
from web.printing import zone_of


@dataclass(frozen=True, slots=True)
class Reading:
    """One person at a moment: the date where they are, and what is due to them there."""

    person: int
    today: date
    daily: bool
    weekly: bool
    mail: bool  # whether mail to them arrives, as far as is known


def zones_of(people: "QuerySet[User]") -> "QuerySet[User]":
    """Annotated with ``zone``: the clock of the first site they have a role at, by name.

    The house's where their roles cover all sites.
    """
    there = Assignment.objects.filter(user=OuterRef("pk"), site__isnull=False)
    first = there.order_by("site__name", "site").values("site__time_zone")[:1]
    return people.annotate(zone=Coalesce(Subquery(first), Value(settings.HOUSE_ZONE)))


def zone_for(person: User) -> str:
    """One person's clock."""
    return str(vars(zones_of(User.objects.filter(pk=person.pk)).get())["zone"])


def readings(now: datetime, *, mailing: bool) -> list[Reading]:
    """Everybody who may sign in. One query; `mailing`: whether any mail goes out."""
    refused = Undeliverable.objects.standing().filter(person=OuterRef("pk"))
    rows = (
        zones_of(User.objects.filter(is_active=True))
        .annotate(refused=Exists(refused))
        .values_list(
            "pk", "zone", "refused", "reader__hour", "reader__weekday", "reader__daily_on",
            "reader__weekly_on",
        )
    )  # fmt: skip
    return [_reading(row, now, mailing=mailing) for row in rows]


def _reading(row: Sequence[object], now: datetime, *, mailing: bool) -> Reading:
    person, zone, refused, hour, weekday, daily_on, weekly_on = row
    here = now.astimezone(zone_of(str(zone)))
    hour, weekday = USUAL_HOUR if hour is None else hour, weekday or USUAL_DAY
    come = here.hour >= int(str(hour))
    return Reading(
        person=int(str(person)),
        today=here.date(),
        daily=come and daily_on != here.date(),
        weekly=come and here.isoweekday() == weekday and weekly_on != here.date(),
        mail=mailing and not refused,
    )


NOTE = """
INSERT INTO people_reader AS r (person_id, hour, weekday, daily_on, weekly_on)
SELECT d.person, %(hour)s, %(day)s, CASE WHEN d.daily THEN d.today END,
    CASE WHEN d.weekly THEN d.today END
FROM unnest(%(people)s::bigint[], %(today)s::date[], %(daily)s::bool[], %(weekly)s::bool[])
    d(person, today, daily, weekly)
WHERE d.daily OR d.weekly
ON CONFLICT (person_id) DO UPDATE SET daily_on = coalesce(excluded.daily_on, r.daily_on),
    weekly_on = coalesce(excluded.weekly_on, r.weekly_on)
"""


def note_collected(told: Sequence[Reading]) -> None:
    """They have had what was due today, or there was nothing."""
    with connection.cursor() as cursor:
        cursor.execute(NOTE, {"hour": USUAL_HOUR, "day": USUAL_DAY, **as_columns(told)})


def as_columns(people: Sequence[Reading]) -> dict[str, list[object]]:
    """For unnest()."""
    return {
        "people": [each.person for each in people],
        "today": [each.today for each in people],
        "daily": [each.daily for each in people],
        "weekly": [each.weekly for each in people],
        "mail": [each.mail for each in people],
    }
