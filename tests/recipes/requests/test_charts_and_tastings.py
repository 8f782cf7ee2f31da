"""Charts and tastings as evidence: kept as they stood, ticked from where they are seen."""

from decimal import Decimal

import pytest

from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.publishing import run
from recipes.requests.actions import make_request
from recipes.requests.evidence import Attached, held_by
from recipes.requests.models import ChangeRequest
from recipes.tastings.models import Tasting
from stations.charts.charting import RULES, charts_of
from stations.charts.keeping import digest_of, figures_of, keep_chart, kept_shots
from stations.charts.models import KeptChart
from stations.equipment.models import Slot
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from tests.attacks import refused, sql
from tests.bar import Bar
from tests.calling import ROOT, act
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.requests.test_attached import COOLER
from tests.recipes.tastings.panel import opened, plan

__all__ = ["send"]
VALUE = "beverage_mass"


@pytest.fixture
def charted(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force, and three shots at its first slot."""
    run.run(send().pk)
    for grams in ("41.5", "40.9", "42.2"):
        pull(bar, bar.slots[0], grams)
    return bar


def pull(bar: Bar, slot: Slot, grams: str) -> CheckShot:
    pulled = Weighed(Decimal("18.0"), Decimal(grams), Decimal(22))
    return log_shot(by=bar.cast.head_roaster, slot=slot, shot=pulled)


def seen(bar: Bar) -> str:
    found = charts_of(bar.stations[0], bar.version.content_digest, VALUE, RULES["nelson"])
    assert found is not None
    return digest_of(figures_of(found, "nelson"))


def kept(bar: Bar, digest: str | None = None) -> KeptChart:
    return keep_chart(
        by=bar.cast.shop_lead, station=bar.stations[0], content_digest=bar.version.content_digest,
        code=VALUE, rules="nelson", seen=digest or seen(bar),
    )  # fmt: skip


def asked(bar: Bar, attached: Attached) -> ChangeRequest:
    return make_request(
        by=bar.cast.shop_lead, base=bar.version, site=bar.cast.site, proposals=COOLER,
        reason="Sharp", attached=attached,
    )  # fmt: skip


def test_a_chart_stays_as_it_was_seen(charted: Bar, signed_in: SignedIn) -> None:
    chart = kept(charted)
    assert kept(charted).pk == chart.pk  # the same figures are the same evidence
    first = CheckShot.objects.earliest("pk")
    correct_shot(
        by=charted.cast.head_roaster, shot=first, seen_corrections=0, reason="Tare",
        to=Weighed(Decimal("18.0"), Decimal("30.0"), Decimal(22)),
    )  # fmt: skip
    pull(charted, charted.slots[0], "55.0")
    chart.refresh_from_db()
    assert [str(line.value) for line in kept_shots(chart)] == ["42.2", "40.9", "41.5"]
    assert kept_shots(chart)[-1].now == Decimal("30.0")
    page = signed_in(charted.cast.barista).get(chart.get_absolute_url()).content.decode()
    assert "corrected since, to" in page
    assert "55.0" not in page


def test_what_is_refused(charted: Bar) -> None:
    old, cast = seen(charted), charted.cast
    pull(charted, charted.slots[0], "43.0")
    with pytest.raises(Stale):
        kept(charted, old)
    named = {
        "station": charted.stations[0], "content_digest": charted.version.content_digest,
        "code": VALUE, "rules": "nelson", "seen": seen(charted), "by": cast.shop_lead,
    }  # fmt: skip
    for wrong in ({"code": "colour"}, {"rules": "all"}, {"content_digest": "0" * 64}):
        with pytest.raises(Invalid):
            keep_chart(**{**named, **wrong})  # type: ignore[arg-type]
    with pytest.raises(Refused):  # no shot has its TDS
        keep_chart(**{**named, "code": "strength"})  # type: ignore[arg-type]
    for who in (cast.barista, cast.other_lead):
        with pytest.raises(NotPermitted):
            keep_chart(**{**named, "by": who})  # type: ignore[arg-type]


def test_the_database_keeps_to_it(charted: Bar) -> None:
    chart, tasting = kept(charted), plan(charted.cast)
    refused(sql("UPDATE stations_keptchart SET code = 'dose_mass'"), "never")
    refused(sql("DELETE FROM stations_keptchart"), "never")
    copied = (
        "INSERT INTO stations_keptchart (station_id, site_id, content_digest, code, title,"
        " figures, figures_digest, by_id) SELECT station_id, %s, content_digest, code, title,"
        " figures, %s, by_id FROM stations_keptchart"
    )
    refused(sql(copied, charted.cast.other_site.pk, "a" * 64), "site of its station")
    refused(sql(copied, chart.site_id, chart.figures_digest), "kept_chart_once_as_it_stood")
    request = asked(charted, Attached.of(charts=[chart.pk]))
    add = "INSERT INTO recipes_requestevidence (request_id, {}_id) VALUES (%s, %s)"
    refused(sql(add.format("tasting"), request.pk, tasting.pk), "Only an opened tasting")
    refused(sql(add.format("chart"), request.pk, chart.pk), "evidence_chart_once")
    both = "UPDATE recipes_requestevidence SET tasting_id = %s"
    refused(sql(both, opened(charted.cast, 9).pk), "evidence_is_one_thing")


def test_only_what_the_site_saw_is_evidence(charted: Bar) -> None:
    with pytest.raises(Invalid, match="charts"):
        asked(charted, Attached.of(charts=[10**9]))
    with pytest.raises(Invalid, match="tastings"):
        asked(charted, Attached.of(tastings=[plan(charted.cast).pk]))  # its key is closed


def test_from_the_chart_s_page_into_the_request(charted: Bar, signed_in: SignedIn) -> None:
    lead, station = signed_in(charted.cast.shop_lead), charted.stations[0]
    form = lead.get(f"/stations/{station.pk}/charts/").context["keep_form"]
    sent = lead.post(f"/stations/{station.pk}/charts/keep/", form.initial)
    chart = KeptChart.objects.get()
    assert sent["Location"] == f"/requests/evidence/?chart={chart.pk}"
    new = lead.get(sent["Location"])["Location"]
    assert new == (
        f"/requests/new/?version={charted.version.pk}&site={station.machine.site_id}"
        f"&chart={chart.pk}"
    )
    page = lead.get(new)
    assert page.context["form"]["charts"].value() == [chart.pk]
    first = page.context["form"].initial
    typed: dict[str, object] = {
        name: str(value) for name, value in first.items() if value not in (None, [])
    }
    typed |= {"charts": chart.pk, "brew_temperature": "92.0", "reason": "Runs long"}
    assert lead.post(new, typed).status_code == 302
    request = ChangeRequest.objects.get()
    assert held_by(request) == Attached.of(charts=[chart.pk])
    shown = signed_in(charted.cast.head_roaster).get(request.get_absolute_url()).content.decode()
    assert chart.get_absolute_url() in shown
    assert "Yield of 3 shots" in shown


def test_a_chart_that_moved_is_told_as_such(charted: Bar, signed_in: SignedIn) -> None:
    lead, station = signed_in(charted.cast.shop_lead), charted.stations[0]
    form = lead.get(f"/stations/{station.pk}/charts/").context["keep_form"]
    pull(charted, charted.slots[0], "43.0")
    told = lead.post(f"/stations/{station.pk}/charts/keep/", form.initial)
    assert told.status_code == 412
    assert not KeptChart.objects.exists()


def test_an_opened_tasting_is_ticked_and_cited(charted: Bar, signed_in: SignedIn) -> None:
    tasting, lead = opened(charted.cast, 9), signed_in(charted.cast.shop_lead)
    button = f"/requests/evidence/?tasting={tasting.pk}"
    assert button in lead.get(tasting.get_absolute_url()).content.decode()
    told = lead.get(button).content.decode()
    assert "names no recipe" in told  # its samples are described
    request = asked(charted, Attached.of(tastings=[tasting.pk]))
    page = lead.get(tasting.get_absolute_url()).content.decode()
    assert request.get_absolute_url() in page
    shown = signed_in(charted.cast.head_roaster).get(request.get_absolute_url()).content.decode()
    assert "9 of 12 told the samples apart" in shown
    edit = lead.get(f"{request.get_absolute_url()}edit/")
    assert edit.context["form"]["tastings"].value() == [tasting.pk]
    assert Tasting.objects.get().for_request is None


def test_from_the_recipe_alone_the_only_site_s_are_offered(
    charted: Bar, signed_in: SignedIn
) -> None:
    chart, tasting = kept(charted), opened(charted.cast, 9)
    new = f"/requests/new/?version={charted.version.pk}"
    form = signed_in(charted.cast.shop_lead).get(new).context["form"]
    assert [field.name for field in form.ticks()] == ["shots", "charts", "tastings"]
    assert [pk for pk, _ in form["charts"].field.choices] == [chart.pk]
    assert [pk for pk, _ in form["tastings"].field.choices] == [tasting.pk]
    roaster = signed_in(charted.cast.head_roaster).get(new)
    assert roaster.context["form"].ticks() == []
    assert "ticked from their own pages" in roaster.content.decode()


def test_over_the_api(charted: Bar, api_as: ApiAs) -> None:
    api, tasting = api_as(charted.cast.shop_lead), opened(charted.cast, 9)
    root = f"{ROOT}/stations/{charted.stations[0].pk}"
    read = api.get(f"{root}/charts/?value={VALUE}").json()
    body = {"content": read["content"], "value": VALUE, "rules": read["rules"],
            "seen": read["seen"]}  # fmt: skip
    path = f"stations/{charted.stations[0].pk}/kept-charts/"
    chart = act(api, path, body)
    assert chart.status_code == 201, chart.content
    assert chart.json()["figures_digest"] == read["seen"]
    assert act(api, path, body | {"seen": "0" * 64}).status_code == 412
    made = act(api, "change-requests/", {
        "base": charted.version.pk, "site": charted.cast.site.code, "reason": "Sharp",
        "proposals": {"brew_temperature": {"target": "92.0"}},
        "charts": [chart.json()["id"]], "tastings": [tasting.pk],
    }).json()  # fmt: skip
    assert (made["charts"], made["tastings"]) == ([chart.json()["id"]], [tasting.pk])
