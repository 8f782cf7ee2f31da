"""How often a PIN may be tried: counted for a person at a tablet and everywhere, a tablet, a site.

Each bound lets some wrong PINs pass in any 24 hours, then each further one closes it for a minute,
for two, for four, up to an hour. A right PIN takes nothing back, so that nobody guesses between
the takings-over of whoever they guess at. One tablet shuts nobody out elsewhere: the person has
their other tablets, and a full sign-in on any, which is left too where many tablets are tried. In
24 hours of trying the bounds let pass at most what a test counts by the clock.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.utils import timezone

from audit.errors import Refused
from people.persons.models import User
from people.tablets.models import PinTry, Tablet

DAY = timedelta(hours=24)
LONGEST = timedelta(hours=1)
MINUTE = timedelta(minutes=1)
FREE_PERSON, FREE_TABLET, FREE_SITE = 5, 30, 100  # wrong ones that close nothing
FREE_EVERYWHERE = 40  # of one person at all tablets: more than a day at one tablet lets pass
# The site's bound is the widest: whoever counts for it counts for its tablets too. Always in this
# order, so that nobody waits in a circle.
TAKE_TURNS = """SELECT pg_advisory_xact_lock(hashtext('pin_tries'), %s),
    pg_advisory_xact_lock(hashtext('pin_tries_of_person'), %s)"""


def waits(wrong: int, free: int) -> timedelta:
    """How long the bound is closed after so many wrong ones."""
    if wrong < free:
        return timedelta()
    return min(timedelta(minutes=1 << min(wrong - free, 6)), LONGEST)


def count_try(tablet: Tablet, person: User) -> PinTry:
    """Count one before its PIN is looked at, so that tries at once cannot slip by.

    Raises Refused, saying how long to wait.
    """
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(TAKE_TURNS, [tablet.site_id, person.pk])
        now = timezone.now()
        left = _closed_until(tablet, person, now) - now
        if left > timedelta():
            minutes = -(-left // MINUTE)
            raise Refused(
                f"Too many wrong PINs: wait {minutes} {'minute' if minutes == 1 else 'minutes'}.",
                how_to_ask="Or sign in in full, with your password or a passkey.",
            )
        return PinTry.objects.create(tablet=tablet, person=person, site_id=tablet.site_id, at=now)


def was_right(counted: PinTry) -> None:
    """It was no wrong one after all."""
    counted.delete()


def forget_old_tries() -> None:
    """Delete what no bound looks at any more. Repeating is fine."""
    PinTry.objects.filter(at__lt=timezone.now() - DAY).delete()


def _closed_until(tablet: Tablet, person: User, now: datetime) -> datetime:
    """When the last of the four bounds opens; long ago where none is closed."""
    lately = PinTry.objects.filter(at__gt=now - DAY).order_by("at")
    rows = list(lately.filter(site_id=tablet.site_id).values_list("at", "tablet_id", "person_id"))
    of_tablet = [row for row in rows if row[1] == tablet.pk]
    here = [row for row in of_tablet if row[2] == person.pk]
    everywhere = list(lately.filter(person=person).values_list("at"))
    bounds = (
        (rows, FREE_SITE), (of_tablet, FREE_TABLET), (here, FREE_PERSON),
        (everywhere, FREE_EVERYWHERE),
    )  # fmt: skip
    return max(_opens([row[0] for row in counted], free) for counted, free in bounds)


def _opens(at: Sequence[datetime], free: int) -> datetime:
    if not at:
        return datetime.min.replace(tzinfo=timezone.now().tzinfo)
    return at[-1] + waits(len(at), free)
