"""What follows from a formula, as a draft's page says it."""

from decimal import Decimal

from recipes.appraisal.appraisal import balance, boiling, yields
from recipes.appraisal.pressure import pressure_plan
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


def test_balance_says_where_water_and_beverage_disagree() -> None:
    assert "36.0 g is stated" in balance(FORMULA)
    assert "is stated" not in balance(FORMULA | {"beverage_mass": number("52")})
    assert balance(Formula()) == ""


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
