"""What of shots is worth hearing of: a bar that pours out of tolerance."""

from collections.abc import Iterable
from urllib.parse import urlencode

from django.urls import reverse

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from stations.shots.models import CheckShot
from stations.shots.outside import outside_by_site


def outside() -> Iterable[Found]:
    """Bar by bar, for as long as a slot's last shot is out."""
    url = reverse("recipes:tolerance")
    for at in outside_by_site(CheckShot.objects.all()):
        yield Found(
            key=str(at.site_id),
            title=f"{at.site} pours out of tolerance",
            words=f"{at.words}.",
            url=f"{url}?{urlencode({'q': at.site})}",
            sites=(at.site_id,),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("outside", "A bar out of tolerance", Verb.REQUEST_MAKE, outside, "recipes:tolerance")
    )
