"""What of causes is worth hearing of: one that was found, until it is cleared."""

from collections.abc import Iterable

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb
from stations.causes.models import CauseFinding
from stations.causes.wording import WORDS


def found() -> Iterable[Found]:
    """Each, once, for as long as it lasts."""
    for each in CauseFinding.objects.lasting().with_place().order_by("pk"):
        words = WORDS[each.cause]
        yield Found(
            key=str(each.pk),
            title=f"{each.station.machine.site}: {each.where}: {each.get_cause_display()}",
            words=f"{words.risen if each.upward else words.fallen} {words.steps[0]}",
            url=each.get_absolute_url(),
            sites=(each.site_id,),
            since=each.found_at,
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("cause", "Causes of drift", Verb.FINDING_ANSWER, found, "stations:finding",
             usual=How.DAILY)
    )  # fmt: skip
