"""What of charts is worth hearing of: cups that drift."""

from collections.abc import Iterable

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb
from stations.charts.models import Drift


def drifting() -> Iterable[Found]:
    """Chart by chart, for as long as it signals: what is published meanwhile makes no new one."""
    told = set[str]()
    for drift in Drift.objects.current().with_place():
        if drift.lasting in told:
            continue
        told.add(drift.lasting)
        yield Found(
            key=drift.lasting,
            title=f"{drift.station.machine.site}: {drift.words}",
            words=drift.why,
            url=drift.get_absolute_url(),
            sites=(drift.site_id,),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("drift", "Cups that drift", Verb.REQUEST_MAKE, drifting, "stations:charts",
             usual=How.DAILY)
    )  # fmt: skip
