"""The shot model behind a version's page."""

from time import process_time

import pytest

from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.simulate import simulate
from recipes.modelling.nominal import predict_shot, setup_of
from recipes.versions.models import Version
from stations.metrology.formula import Stated
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA, make_draft, number

POURED = FORMULA | {"brew_pressure": number("9"), "preinfusion_time": number("4"),
          "preinfusion_pressure": number("3"), "rise_time": number("2")}  # fmt: skip


def test_the_shot_ends_by_its_water() -> None:
    told = predict_shot(POURED)
    assert told.ended
    assert float(told.water) == pytest.approx(70, abs=0.1)
    assert told.samples[-1].beverage == told.beverage


def test_more_pressure_is_a_shorter_shot() -> None:
    assert predict_shot(POURED | {"brew_pressure": number("6")}).time > predict_shot(POURED).time


def test_one_shot_takes_less_than_a_tenth_of_a_second() -> None:
    # This process's own seconds: what else the machine is doing does not count.
    setup = setup_of(POURED).setup
    simulate(setup, step=0.25)
    begun = process_time()
    for _ in range(3):
        simulate(setup, step=0.25)
    assert (process_time() - begun) / 3 < 0.1


def test_what_is_missing_is_named() -> None:
    with pytest.raises(QuantityError) as told:
        predict_shot(POURED | {"dose_mass": Stated()})
    assert told.value.field == "dose_mass"


def test_a_pressure_nobody_states_is_assumed_and_said() -> None:
    told = predict_shot(FORMULA)
    assert told.assumed == ("No brew pressure is stated: 9 bar is assumed.",)
    assert told.time == predict_shot(FORMULA | {"brew_pressure": number("9")}).time


def test_where_no_shot_comes_of_what_stands_the_changed_one_is_named_so(
    cast: Cast, signed_in: SignedIn, draft: Version
) -> None:
    """Nothing is shown as the version's own shot, nor as one that has ended."""
    stated = {code: one for code, one in POURED.items() if code != "dose_mass"}
    undosed = make_draft(cast, draft.recipe, stated)
    path = f"/versions/{undosed.pk}/model/?dose_mass=18"
    page = signed_in(cast.barista).get(path).content.decode()
    assert "Modelled shots over time: with the change," in page
    assert "<caption>The version with the change</caption>" in page
    assert "as it stands" not in page
    assert "As it stands" not in page


def test_a_tasting_is_offered_to_those_who_may_run_one(
    cast: Cast, signed_in: SignedIn, draft: Version
) -> None:
    path = f"/versions/{draft.pk}/model/?brew_temperature=92"
    offered = f'href="/tastings/new/?base={draft.pk}"'
    assert offered in signed_in(cast.shop_lead).get(path).content.decode()
    assert "/tastings/new/" not in signed_in(cast.barista).get(path).content.decode()


def test_the_page(cast: Cast, signed_in: SignedIn, draft: Version) -> None:
    browser = signed_in(cast.barista)
    bare = browser.get(f"/versions/{draft.pk}/model/").content.decode()
    assert "9 bar is assumed" in bare
    full = make_draft(cast, draft.recipe, POURED)
    page = browser.get(f"/versions/{full.pk}/model/?brew_pressure=6").content.decode()
    assert "with the change" in page
    assert "A model at default parameters" in page
    assert browser.get(f"/versions/{full.pk}/model/?brew_pressure=99").status_code == 400
