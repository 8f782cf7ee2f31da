"""A shot weighed in ounces: exact in grams, and what was typed kept as evidence."""

from decimal import Decimal

from django.test import Client
from django.urls import reverse

from audit.capture.models import Entry
from people.units.actions import choose_units
from stations.shots.models import CheckShot
from tests.cast import ApiAs, Cast, SignedIn
from tests.stations.conftest import Bar, place
from tests.stations.shots.test_shots import CUP
from web.models import TypedFigure


def typed(browser: Client, bar: Bar, dose: str, cup: str = "36 g") -> CheckShot:
    sent = {"dose_mass": dose, "beverage_mass": cup, "shot_time": "27"}
    answer = browser.post(reverse("stations:shot_log", args=[bar.slot.pk]), sent)
    assert answer.status_code == 302, answer.content.decode()
    return CheckShot.objects.latest("id")


def test_a_dose_in_ounces_is_kept_exactly_and_as_typed(
    bar: Bar, cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    me = cast.barista
    choose_units(by=me, revision=me.revision, temperatures="[degF]", masses="[oz_av]")
    browser = signed_in(cast.barista)
    shot = typed(browser, bar, "0.63")
    assert shot.dose_mass == Decimal("17.86019956875")  # 0.63 times 28.349523125
    page = browser.get(shot.get_absolute_url()).content.decode()
    assert '<span class="qty-num">0.63</span>' in page
    told = api_as(cast.barista).get(f"/api/v1/shots/{shot.pk}/").json()
    assert told["dose_mass"] == "17.86019956875"
    kept = TypedFigure.objects.get()  # 36 g was typed as it is stored
    assert (kept.label, kept.value, kept.unit) == ("Dose", Decimal("0.63"), "[oz_av]")
    assert (kept.stored, kept.site_id) == (shot.dose_mass, bar.slot.station.machine.site_id)
    entry = Entry.objects.get(table_name="web_typedfigure")
    assert entry.action == Entry.objects.get(table_name="stations_checkshot").action
    assert (entry.actor, entry.changes["value"]) == (cast.barista.name, [None, "0.63"])
    history = signed_in(cast.owner).get(reverse("audit:history")).content.decode()
    assert "0.63" in history
    assert "17.86019956875" in history


def test_a_unit_written_behind_the_number_needs_no_choice(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    place(bar.slot, cast.head_roaster, cup=CUP)
    shot = typed(signed_in(cast.barista), bar, "0,63 oz", cup="36")
    assert (shot.dose_mass, shot.beverage_mass) == (Decimal("17.86019956875"), 36)
    assert TypedFigure.objects.get().value == Decimal("0.63")
