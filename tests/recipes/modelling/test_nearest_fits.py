"""Whose fit a prediction is made with, what carries over, and what is said before any figure."""

from collections.abc import Callable, Mapping
from decimal import Decimal

import pytest

from recipes.modelling.fitting import learning_from
from recipes.modelling.models import ShotFit
from recipes.modelling.nearest import nearest_fit, why_none
from recipes.publishing import run as publishing
from recipes.variants.models import VariantValue
from recipes.versions.lineage import earlier_contents
from recipes.versions.models import Version
from stations.equipment.models import Slot, Station
from stations.shots.models import CheckShot
from tests.bar import DOUBLE, Bar, approved, draft, vary
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.modelling.fitted import fitted
from tests.stations.charts.test_drift import pull

__all__ = ["send"]  # a fixture

FitAt = Callable[[int], ShotFit]


def next_version(bar: Bar, **targets: str) -> Version:
    """The recipe's next version, with these targets."""
    formula: Mapping[str, tuple[str, str | None, str | None]] = {
        **DOUBLE, **{code: (target, "1", "1") for code, target in targets.items()},
    }  # fmt: skip
    return approved(bar.cast, draft(bar.cast, formula, bar.version.recipe))


@pytest.fixture
def fit_at(bar: Bar, send: Publish) -> FitAt:
    """A fit of the version at one of the bar's stations, by its number in the fixture."""
    publishing.run(send().pk)

    def at(place: int) -> ShotFit:
        slot = Slot.objects.with_equipment().filter(station=bar.stations[place]).first()
        assert slot
        made: list[CheckShot] = pull(slot, bar.cast.head_roaster, "36.0")
        return fitted(slot.station, bar.version, made, bar.cast.head_roaster)

    return at


def chosen(bar: Bar, station: Station | None, version: Version | None = None) -> int | None:
    whose = nearest_fit(bar.cast.head_roaster, version or bar.version, station)
    return whose.fit.pk if whose else None


def test_nearest_is_own_then_type_then_site(bar: Bar, fit_at: FitAt) -> None:
    """Stations 0 and 1 on one machine, 2 of another type beside it, 3 of the type elsewhere."""
    first = bar.stations[0]
    assert chosen(bar, first) is None
    other_type = fit_at(2)
    assert chosen(bar, first) == other_type.pk
    elsewhere = fit_at(3)
    assert chosen(bar, first) == elsewhere.pk
    beside = fit_at(1)
    assert chosen(bar, first) == beside.pk
    own = fit_at(0)
    fit_at(1)
    assert chosen(bar, first) == own.pk


def test_the_api_says_whose_fit_it_is_and_how_near(bar: Bar, fit_at: FitAt, api_as: ApiAs) -> None:
    path, first = f"/api/v1/versions/{bar.version.pk}/nearest-fit/", bar.stations[0]
    api = api_as(bar.cast.head_roaster)
    near = dict.fromkeys(("own_station", "own_version", "same_type", "same_site"), False)
    nothing: dict[str, object] = {"fit": None, **near, "words": [], "why_none": ""}
    assert api.get(path, {"station": first.pk}).json() == nothing
    beside = fit_at(1)
    told = api.get(path, {"station": first.pk}).json()
    assert told["fit"]["id"] == beside.pk
    assert {name: told[name] for name in near} == dict.fromkeys(near, True) | {"own_station": False}
    assert f"{first} has no fit" in told["words"][0]
    assert "No station is chosen" in api.get(path).json()["words"][0]
    assert api.get(path, {"station": 0}).status_code == 400
    lead = api_as(bar.cast.other_lead)
    assert lead.get(path, {"station": first.pk}).status_code == 400
    assert lead.get(path).json()["fit"] is None


def test_a_fit_of_another_site_is_for_who_may_see_it(bar: Bar, fit_at: FitAt) -> None:
    far = fit_at(3)
    assert nearest_fit(bar.cast.shop_lead, bar.version, bar.stations[0]) is None
    whose = nearest_fit(bar.cast.other_lead, bar.version)
    assert whose
    assert whose.fit == far


def test_a_fit_carries_over_until_the_puck_is_another(bar: Bar, fit_at: FitAt) -> None:
    old, cooler = fit_at(0), next_version(bar, brew_temperature="92.0")
    whose = nearest_fit(bar.cast.head_roaster, cooler, bar.stations[0])
    assert whose
    assert (whose.fit, whose.own_station, whose.own_version) == (old, True, False)
    assert "carried over: coffee, dose, basket and grind" in " ".join(whose.words(bar.stations[0]))
    assert list(learning_from(cooler, bar.stations[0])) == [
        cooler.content_digest,
        bar.version.content_digest,
    ]
    heavier = next_version(bar, dose_mass="19.0")
    assert chosen(bar, bar.stations[0], heavier) is None
    assert list(learning_from(heavier, bar.stations[0])) == [heavier.content_digest]


def test_another_dose_of_a_variant_is_another_puck_where_it_is_brewed(
    bar: Bar, fit_at: FitAt
) -> None:
    """The whole formula's puck is the same; what the plain machine brews is not."""
    plain, full = bar.stations[2], bar.stations[0]
    old, other = fit_at(2), fit_at(0)
    whole = {**DOUBLE, "brew_pressure": ("9.0", "0.5", "0.5")}  # which the plain one can't set
    made = vary(draft(bar.cast, whole, bar.version.recipe), bar.plain)
    made.variant_values.filter(code="dose_mass").update(target=Decimal("16.0"))
    newer = approved(bar.cast, made)
    assert list(learning_from(newer, full)) == [newer.content_digest, bar.version.content_digest]
    assert list(learning_from(newer, plain)) == [newer.content_digest]
    assert chosen(bar, full, newer) == other.pk
    assert chosen(bar, plain, newer) is None
    assert why_none(newer, plain).replace("\u00a0", " ") == "dose 18.0 g → 16.0 g since version 1"
    assert old.version == bar.version


def test_the_page_says_why_a_fit_does_not_carry_over(
    bar: Bar, fit_at: FitAt, signed_in: SignedIn
) -> None:
    fit_at(0)
    heavier = next_version(bar, dose_mass="19.0")
    browser = signed_in(bar.cast.head_roaster)
    page = browser.get(f"/versions/{heavier.pk}/model/?station={bar.stations[0].pk}")
    words = page.content.decode().replace("\u00a0", " ")
    assert "Its earlier fit starts anew: dose 18.0 g → 19.0 g since version 1." in words


def test_what_cannot_be_known_of_a_temperature_is_said_before_any_figure(
    bar: Bar, fit_at: FitAt, signed_in: SignedIn
) -> None:
    """92 instead of 93, no station chosen: the nearest fit answers, after the words."""
    fit_at(1)
    browser = signed_in(bar.cast.head_roaster)
    words = browser.get(f"/versions/{bar.version.pk}/model/?brew_temperature=92").content.decode()
    said = [
        "What another temperature does to the taste can&#x27;t be known here", "Batali",
        "Every shot was pulled at", "this is the newest fit, of",
        "By the fit, means with 95 %", "The bands are 95 % intervals",
    ]  # fmt: skip
    places = [words.index(one) for one in said]
    assert places == sorted(places)
    assert "as it stands" in words
    assert "with the change" in words


def test_without_any_fit_the_words_come_first_too(bar: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(bar.cast.head_roaster)
    words = browser.get(f"/versions/{bar.version.pk}/model/?brew_temperature=92").content.decode()
    assert words.index("What another temperature does") < words.index("The version as it stands")
    assert "95 % intervals" not in words


def test_a_change_is_asked_for_by_the_station_s_own_fit_carried_over_or_not(
    bar: Bar, fit_at: FitAt, signed_in: SignedIn
) -> None:
    own, cooler = fit_at(0), next_version(bar, brew_temperature="92.0")
    lead = signed_in(bar.cast.shop_lead)
    path = f"/versions/{cooler.pk}/model/?brew_temperature=93&station="
    assert f"fit={own.pk}" in lead.get(f"{path}{bar.stations[0].pk}").content.decode()
    assert "Ask for this change" not in lead.get(f"{path}{bar.stations[1].pk}").content.decode()
    new = f"/requests/new/?version={cooler.pk}&fit={own.pk}&brew_temperature=93"
    evidence = lead.get(new).context["form"].initial["evidence"]
    assert evidence.index("What another temperature") < evidence.index("Time: ")
    heavier = next_version(bar, dose_mass="19.0")
    other = f"/requests/new/?version={heavier.pk}&fit={own.pk}&brew_temperature=93"
    assert lead.get(other).status_code == 404


def test_a_station_with_a_variant_is_predicted_and_carried_by_it(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    """What a version says to one machine type is what its stations brew and compare."""
    whole = {**DOUBLE, "brew_pressure": ("9.0", "0.5", "0.5")}  # which the plain one can't set
    made = draft(bar.cast, whole, bar.version.recipe)
    says = {"dose_mass": "18.0", "beverage_mass": "36.0", "shot_time": "28",
            "water_volume": "66", "brew_temperature": "93.0"}  # fmt: skip
    for code, target in says.items():
        VariantValue.objects.create(
            version=made, machine_type=bar.plain, code=code, target=Decimal(target)
        )
    VariantValue.objects.create(version=made, machine_type=bar.plain, code="ends_by", text="volume")
    version = approved(bar.cast, made)
    plain, full = bar.stations[2], bar.stations[0]
    [earlier] = earlier_contents(plain, version.content_digest)
    assert [one.code for one in earlier.changes] == ["water_volume"]
    [earlier] = earlier_contents(full, version.content_digest)
    assert [one.code for one in earlier.changes] == ["brew_pressure"]
    publishing.run(send(version).pk)
    browser = signed_in(bar.cast.head_roaster)
    words = browser.get(f"/versions/{version.pk}/model/?station={plain.pk}").content.decode()
    assert f"Poured as the variant for {bar.plain}" in words
    other = browser.get(f"/versions/{version.pk}/model/?station={full.pk}").content.decode()
    assert "Poured as the variant" not in other
