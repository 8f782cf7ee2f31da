"""A parameter more is one entry of the registry: form, API, digest, plan and comparison know it."""

from decimal import Decimal

import pytest

from recipes.formula import parameters
from recipes.formula.control_settings import formula_set
from recipes.formula.display import rows
from recipes.formula.forms import FormulaForm
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, TRANSLATION_RULES, Parameter, SetBy
from recipes.versions.digest import content
from recipes.versions.models import Version
from stations.equipment.traits import traits_at
from stations.machine_types import catalogue
from stations.machine_types.models import Ability
from stations.metrology import rules
from stations.metrology.formula import Stated
from tests.bar import Bar
from tests.calling import etag, put
from tests.cast import ApiAs, Cast
from tests.publishing import plan_of
from tests.recipes.shelf import FORMULA, make_approved, make_draft, make_recipe, number

CODE = "pulse_pause"
PAUSE = Parameter(
    CODE, "Pause between pulses", "s", SetBy.MACHINE, rules.AS_IS, Decimal(0), Decimal(9)
)


@pytest.fixture(autouse=True)
def one_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """The registry as it would be with one entry more when the program starts."""
    monkeypatch.setitem(PARAMETERS, CODE, PAUSE)
    monkeypatch.setitem(TRANSLATION_RULES, CODE, PAUSE.translation)
    for setting in parameters.machine_settings():
        monkeypatch.setitem(catalogue.SETTINGS, setting.code, setting)


def test_the_form_asks_for_it() -> None:
    form = FormulaForm({CODE: "1.5", f"{CODE}_below": "0.5"})
    assert form.is_valid()
    assert form.values() == {CODE: Stated(Decimal("1.5"), Decimal("0.5"))}
    assert [line.parameter for line in form.lines()][-1] is PAUSE


def test_the_api_takes_and_gives_it(cast: Cast, api_as: ApiAs) -> None:
    draft, head = make_draft(cast, make_recipe(cast)), api_as(cast.head_roaster)
    path = f"versions/{draft.pk}/formula/"
    sent = {"formula": {CODE: {"target": "1.50", "unit": "s"}}}
    answer = put(head, path, sent, etag(head, path))
    assert answer.status_code == 200, answer.content
    given = head.get(f"/api/v1/{path}").json()["formula"][CODE]
    assert given == {"target": "1.50", "below": None, "above": None, "text": "", "unit": "s"}


def test_it_is_signed_planned_and_read_back(bar: Bar, cast: Cast) -> None:
    """Approved with it, in the digest the database computes too, and set where a machine can."""
    Ability.objects.create(
        machine_type=bar.full, parameter=CODE, minimum=0, maximum=9, resolution=Decimal("0.5")
    )
    version = make_approved(cast, make_recipe(cast), FORMULA | {CODE: number("1.6")})
    assert content(version)["formula"][CODE]["target"] == "1.6"
    stations = plan_of(Version.objects.get(pk=version.pk), cast.head_roaster).stations
    able, unable = (stations[each.pk] for each in (bar.stations[0], bar.stations[2]))
    assert able.values[CODE] == {"value": "1.5", "unit": "s"}
    assert "pause between pulses is not something this machine can set" in unable.refusals
    assert formula_set(able.values, traits_at(bar.stations[0])).target(CODE) == Decimal("1.5")


def test_it_is_compared() -> None:
    old, new = Formula({CODE: number("1.5")}), Formula({CODE: number("2")})
    [row] = rows(old, new)
    assert (row["label"], row["unit"], row["differs"]) == ("Pause between pulses", "s", True)
