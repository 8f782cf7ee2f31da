"""What follows from a formula, as a draft's page says it."""

from decimal import Decimal

from recipes.appraisal.appraisal import balance, boiling, yields
from recipes.appraisal.pressure import pressure_plan
from recipes.brewing.balances import House
from recipes.formula.formula import Formula
from recipes.versions.models import Version
from stations.equipment.models import Site
from stations.metrology.formula import Stated
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA, number

# The trade's ordinary plan (issue 3, common practice, no source): line pressure for about 4 s,
# a rise of about 2 s by 7 bar, then 9 bar at the pump, and a taper over the last 8 %.
ORDINARY = Formula(
    {
        "preinfusion_time": number("4"),
        "preinfusion_pressure": number("3"),
        "rise_time": number("2"),
        "intermediate_pressure": number("7"),
        "brew_pressure": number("9"),
        "taper_start": number("92"),
        "taper_pressure": number("6"),
    }
)


def site(altitude: str) -> Site:
    return Site(altitude=Decimal(altitude))


def test_the_ordinary_plan_is_called_so_and_drawn() -> None:
    plan = pressure_plan(ORDINARY)
    assert plan is not None
    assert plan.ordinary
    assert plan.words == ("An ordinary pressure plan.",)
    assert plan.drawing is not None
    assert plan.drawing.svg.startswith('<svg role="img"')
    assert [str(one.at_stop) for one in plan.stretches] == ["3", "7", "9", "9", "6"]
    assert plan.stretches[-1].start.startswith("92")


def test_an_odd_plan_is_told_why() -> None:
    plan = pressure_plan(ORDINARY | {"preinfusion_pressure": number("9.5")})
    assert plan is not None
    assert not plan.ordinary
    assert any("Pre-infusion pressure" in words for words in plan.words)


def test_half_a_taper_is_no_plan() -> None:
    half = ORDINARY | {"taper_pressure": Stated()}
    plan = pressure_plan(half)
    assert plan is not None
    assert plan.drawing is None
    assert "Taper pressure" in plan.words[0]


def test_no_pressures_no_plan() -> None:
    assert pressure_plan(FORMULA) is None


def test_yield_if_the_strength_were() -> None:
    # EY = beverage x TDS / dose by definition: 36 x 9 / 18 = 18.
    found = {one.strength: one.percent for one in yields(FORMULA)}
    assert found[Decimal(9)] == Decimal("18.0")
    assert yields(Formula({"dose_mass": number("18")})) == []


def test_balance_is_by_common_practice_only_until_something_is_measured() -> None:
    # 70 mL at 998.2 g/L less 0.8 to 1.3 g/g of 18 g (references 6.7): 51.9 g, 46.5 to 55.5 g.
    words = balance(FORMULA, None)
    assert "gives 51.9 g in the cup (46.5 to 55.5 g)" in words
    assert "common practice" in words
    assert balance(Formula(), None) == ""


def test_balance_is_what_the_house_measured() -> None:
    # 70 mL at 998.2 g/L less 1.75 (1.60 to 1.90) x 18 g, by hand: 38.4 g, 35.7 to 41.1 g.
    words = balance(FORMULA, House(1.75, 1.6, 1.9, stations=8, shots=240))
    assert "gives 38.4 g in the cup (35.7 to 41.1 g)" in words
    assert "the coffee keeps 1.75 g/g (1.60 to 1.90), measured in 240 check shots" in words
    assert "water kept less what dissolves" in words
    assert "common practice" not in words


def test_no_cup_is_below_nothing() -> None:
    little = FORMULA | {"water_volume": number("20")}
    assert "(0.0 to 5.6 g)" in balance(little, None)
    wide = House(1.0, 0.0, 3.0, stations=1, shots=5)
    assert "(0.0 to 20.0 g)" in balance(little, wide)
    dry = FORMULA | {"water_volume": number("15")}
    for house in (None, House(1.75, 1.6, 1.9, stations=8, shots=240)):
        assert balance(dry, house).endswith("nothing reaches the cup.")


def test_no_extraction_beyond_what_coffee_holds() -> None:
    # 100 g at 9 % from 18 g would be 50 % of the coffee; at most 36 % dissolve.
    long = yields(FORMULA | {"beverage_mass": number("100")})
    assert [one.possible for one in long] == [False] * 6
    assert all(one.possible for one in yields(FORMULA))


def test_boiling_names_only_sites_close_to_it() -> None:
    # design section 6: 93 °C is above boiling at 2,240 m.
    found = boiling(FORMULA, [site("12"), site("1000"), site("2240")])
    assert len(found) == 1
    assert "above boiling" in found[0].words


def test_pages_show_it(signed_in: SignedIn, cast: Cast, draft: Version) -> None:
    browser = signed_in(cast.head_roaster)
    page = browser.get(f"/versions/{draft.pk}/").content.decode()
    assert "1 : 2.00" in page
    assert "by TDS" in page
    typed = {"revision": draft.revision, "dose_mass": "20", "beverage_mass": "30"}
    answer = browser.post(f"/versions/{draft.pk}/follows/", typed).content.decode()
    assert "1 : 1.50" in answer
    faulty = browser.post(f"/versions/{draft.pk}/follows/", {**typed, "dose_mass": "x"})
    assert "A value above can't be used" in faulty.content.decode()
