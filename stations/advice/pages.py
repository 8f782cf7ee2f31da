"""A check shot's page: the verdict in a line, what to do, and every value beside its target."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.advice.gathering import advice_on
from stations.advice.words import tell
from stations.machine_types.catalogue import printed
from stations.shots.judging import lines_of
from stations.shots.models import CheckShot
from stations.shots.pages import covered_shot
from stations.slots.models import Placement
from web.pages import PageRequest, page


@page()
def shot(request: PageRequest, pk: int) -> HttpResponse:
    """One shot: each value beside its target, and what was corrected."""
    shown = covered_shot(request, pk)
    advised = advice_on(shown)
    context = {
        "told": tell(advised) if advised else None,
        "may_ask": may(request.user, Verb.REQUEST_MAKE, shown.site_id),
        "shot": shown,
        "slot": shown.slot,
        "site": shown.site,
        "lines": lines_of(shown),
        "settings": printed(shown.placement.settings.values) if _by_hand(shown) else [],
        "corrections": shown.corrected.select_related("by"),
        "may_log": may(request.user, Verb.SHOT_LOG, shown.site_id),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT) and not shown.left_out,
        "by_hand": _by_hand(shown),
    }
    return render(request, "stations/advice/shot.html", context)


def _by_hand(shot: CheckShot) -> bool:
    """Whether the slot was set by hand when it was poured, as one does while dialling in."""
    return shot.placement.manner == Placement.Manner.BY_HAND
