"""Setting a site's opening check."""

from django.http import HttpResponse
from django.utils import timezone

from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.opening.actions import set_opening
from stations.opening.checking import station_checks
from stations.opening.forms import OpeningForm
from stations.opening.models import OpeningPolicy
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page


@page(methods="GET POST")
def opening_set(request: PageRequest, pk: int) -> HttpResponse:
    """What is asked now, and the form to ask for something else."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.OPENING_SET, site.pk)
    policy = OpeningPolicy.of(site)
    initial = {
        "revision": policy.revision,
        "shots": policy.shots,
        "counts_from": policy.counts_from.strftime("%H:%M"),
        "opens_at": policy.opens_at.strftime("%H:%M"),
        "slots": policy.slots.replace(",", ", "),
    }
    form = OpeningForm(posted(request), initial=initial)
    checks = station_checks([site.pk], timezone.now())
    stations = Station.objects.select_related("machine").in_bulk([one.station_id for one in checks])
    return form_page(
        request,
        "stations/opening/opening_set.html",
        form,
        lambda: set_opening(by=request.user, site=site, **form.cleaned_data),
        said="The {} is set.",
        context={"site": site, "checks": [(stations[one.station_id], one) for one in checks]},
    )
