"""A shop lead sees the publications that reach their site: what, when, what changes, how far."""

from datetime import date, time, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from recipes.publishing import run
from recipes.publishing.effects import SHOWN, effects_on
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from stations.equipment.models import Machine
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.audit.sealed import unguarded
from tests.bar import DOUBLE, Bar, approved, draft, station
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, measure

__all__ = ["send"]
COOLER = {**DOUBLE, "brew_temperature": ("92.0", "0.5", "0.5")}


def later(bar: Bar, send: Publish, scope: Scope) -> int:
    """A cooler version, tomorrow at six."""
    version = approved(bar.cast, draft(bar.cast, COOLER, bar.version.recipe))
    tomorrow = date.today() + timedelta(days=1)  # noqa: DTZ011 - a day of each site's own
    return send(version, scope=scope, when=When(tomorrow, time(6))).pk


def test_what_changes_before_and_after_it_begins(bar: Bar, send: Publish) -> None:
    first = send()
    effects, more = effects_on(first, [bar.cast.site.pk])
    assert (len(effects), more) == (6, False)
    assert {(e.mark, e.before) for e in effects} == {("scheduled", None)}
    run.run(first.pk)
    [effect, *_] = effects_on(first, [bar.cast.site.pk])[0]
    assert effect.mark == "to_load"
    changed = [(c.label, c.before) for c in effect.changes]
    assert ("Brew temperature", "") in changed
    placement = effect.placement
    found = {code: given["value"] for code, given in placement.settings.values.items()}
    read_back(by=bar.cast.shop_lead, slot=placement.slot, seen_placement=placement.pk, found=found)
    [effect, *_] = effects_on(first, [bar.cast.site.pk])[0]
    assert effect.mark == "matches"


def test_what_was_translated_anew_stands_once_and_against_what_it_took_over_from(
    bar: Bar, send: Publish
) -> None:
    """What gave way for it belongs to the same publication and was never in the slot."""
    run.run(send().pk)
    here, who = [bar.cast.site.pk], bar.cast.technician
    cooler = approved(bar.cast, draft(bar.cast, COOLER, bar.version.recipe))
    made = send(cooler, scope=Scope(Where.SITES, (bar.cast.site.pk,), slot_numbers=(1,)))
    accept(measure(bar.stations[0], "4.2", who), who)
    assert [effect.mark for effect in effects_on(made, here)[0]] == ["scheduled"] * 3
    run.run(made.pk)
    effects, _ = effects_on(made, here)
    assert [effect.mark for effect in effects] == ["to_load"] * 3
    for effect in effects:
        assert effect.before
        assert effect.before.basis_id != made.pk
        assert "Brew temperature" in [change.label for change in effect.changes]


def test_one_that_is_scheduled_is_held_against_what_is_in_force(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    run.run(send().pk)
    scope = Scope(Where.SITES, (bar.cast.site.pk,), slot_numbers=(1,))
    made = later(bar, send, scope)
    lead = signed_in(bar.cast.shop_lead)
    page = lead.get(f"/publications/{made}/").content.decode()
    assert page.count("Brew temperature: ") == 3
    assert "Water volume: " not in page
    assert f"/publications/{made}/" in lead.get("/publications/").content.decode()
    assert f"/publications/{made}/" in lead.get("/").content.decode()


def test_it_is_not_there_for_who_covers_no_site_of_it(
    bar: Bar, send: Publish, signed_in: SignedIn, api_as: ApiAs
) -> None:
    scope = Scope(Where.SITES, (bar.cast.site.pk,))
    made = send(scope=scope)
    other = signed_in(bar.cast.other_lead)
    assert other.get(f"/publications/{made.pk}/").status_code == 404
    assert other.get(f"/publications/{made.pk}/progress/").status_code == 404
    assert f"/publications/{made.pk}/" not in other.get("/publications/").content.decode()
    api = api_as(bar.cast.other_lead)
    assert api.get(f"/api/v1/publications/{made.pk}/").status_code == 404
    assert api.get("/api/v1/publications/").json()["results"] == []


def test_nothing_of_other_sites_is_told(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made = send()
    page = signed_in(bar.cast.shop_lead).get(f"/publications/{made.pk}/").content.decode()
    assert "Harbour, Front" in page
    assert "Upland" not in page
    assert "Counter" not in page


def test_values_that_are_not_as_signed_are_withheld(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    made = send()
    settings = Placement.objects.filter(basis_id=made.pk).first()
    assert settings is not None
    unguarded(
        "UPDATE stations_controlsettings SET values = jsonb_set(values,"
        " '{brew_temperature,value}', '\"97.0\"') WHERE id = %s",
        settings.settings_id,
    )
    effects, _ = effects_on(made, [settings.site_id])
    assert {e.mark for e in effects if e.placement.settings_id == settings.settings_id} == {
        "not_as_signed"
    }
    page = signed_in(bar.cast.shop_lead).get(f"/publications/{made.pk}/").content.decode()
    assert "97.0" not in page


def test_it_asks_no_more_with_more_slots(bar: Bar, send: Publish) -> None:
    def asked(publication: object) -> int:
        with CaptureQueriesContext(connection) as queries:
            effects_on(publication, [bar.cast.site.pk])  # type: ignore[arg-type]
        return len(queries)

    made = send()
    run.run(made.pk)
    few = asked(made)
    front = Machine.objects.get(pk=bar.stations[0].machine_id)
    for number in range(3, 20):
        station(front, number, "4.00", slots=4)
    version = approved(bar.cast, draft(bar.cast, COOLER, bar.version.recipe))
    again = send(version)
    run.run(again.pk)
    assert asked(again) <= few + 1
    effects, more = effects_on(again, [bar.cast.site.pk])
    assert (len(effects), more) == (SHOWN, True)
