"""What of calibrations is worth hearing of: those that are due."""

from collections.abc import Iterable
from datetime import timedelta

from django.utils import timezone

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb
from stations.calibrations.models import Calibration
from web.printing import day

AHEAD = timedelta(days=14)


def due() -> Iterable[Found]:
    """Each that counts and has to be repeated within two weeks, until it was."""
    rows = Calibration.objects.due_by(timezone.now().date() + AHEAD).with_place()
    for calibration in rows.order_by("pk"):
        machine = calibration.station.machine
        yield Found(
            key=str(calibration.pk),
            title=f"{machine.site}: {machine}, station {calibration.station.number}: "
            f"{calibration.get_kind_display()} due {day(calibration.due_on)}",
            url=f"{calibration.station.get_absolute_url()}#calibrations",
            sites=(machine.site_id,),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("calibration_due", "A calibration due", Verb.CALIBRATION_RECORD, due,
             "stations:station", usual=How.WEEKLY)
    )  # fmt: skip
