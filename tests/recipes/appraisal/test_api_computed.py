"""What follows from a formula, over HTTP: nothing of it is stored."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from audit.capture.models import Entry
from recipes.formula.fields import shown
from recipes.versions.models import Version
from tests.cast import ApiAs, Cast


@pytest.fixture
def api(cast: Cast, api_as: ApiAs) -> APIClient:
    return api_as(cast.head_roaster)


def path(version: Version, what: str) -> str:
    return f"/api/v1/versions/{version.pk}/{what}/"


def test_a_draft_is_appraised(api: APIClient, draft: Version) -> None:
    told = api.get(path(draft, "appraisal")).json()
    assert told["brew_ratio"] == "2.00"
    # Extraction yield = beverage x TDS / dose (references 6.1): 36 g, 10 %, 18 g give 20 %.
    assert {"strength": "10", "extraction": "20.0"} in told["yields"]
    assert "70 mL of water on 18.0 g" in told["balance"]
    assert isinstance(told["unable"], list)


def test_a_formula_is_appraised_before_it_is_saved(
    api: APIClient, cast: Cast, draft: Version
) -> None:
    before = Entry.objects.count()
    formula: dict[str, Any] = shown(draft.stated)
    formula["beverage_mass"] = {"target": "27"}
    formula["brew_temperature"] = {"target": "99.5"}
    formula["brew_pressure"] = {"target": "12"}
    told = api.post(path(draft, "appraisal"), {"formula": formula}).json()
    assert told["brew_ratio"] == "1.50"
    assert told["plan"]["ordinary"] is False
    margins = {each["site"]: Decimal(each["margin"]) for each in told["boiling"]}
    # Boiling at 12 m: 99.97 °C less 12 m of 1.66 K a 500 m (references 1.15), so 99.93 °C.
    assert margins["harbour"] == Decimal("0.43")
    # At 1,650 m: between 94.62 °C (1,609 m) and 92.52 °C (2,240 m) by the same rows.
    assert Decimal("-7") < margins["upland"] < Decimal("-4.88")
    assert Entry.objects.count() == before
    assert Version.objects.get(pk=draft.pk).revision == draft.revision


def test_a_formula_that_cannot_be_is_named(api: APIClient, draft: Version) -> None:
    for formula, field in (
        ({"colour": {"text": "brown"}}, "colour"),
        ({"dose_mass": {"target": "1000"}}, "dose_mass"),
        ({"dose_mass": {"target": "18", "unit": "kg"}}, "formula.dose_mass.unit"),
    ):
        answer = api.post(path(draft, "appraisal"), {"formula": formula})
        assert answer.status_code == 400
        assert [one["field"] for one in answer.json()["problems"]] == [field]


def test_only_who_drafts_tries_formulas(cast: Cast, api_as: ApiAs, draft: Version) -> None:
    barista = api_as(cast.barista)
    assert barista.get(path(draft, "appraisal")).status_code == 200
    assert barista.post(path(draft, "appraisal"), {"formula": {}}).status_code == 403


def test_the_model_pours_a_version_and_a_change(api: APIClient, draft: Version) -> None:
    whole = {"brew_pressure": "9"}
    plain = api.get(path(draft, "foretold"), whole).json()
    assert plain["ended"] is True
    longer = api.get(path(draft, "foretold"), {**whole, "water_volume": "90"}).json()
    assert Decimal(longer["beverage"]) > Decimal(plain["beverage"])
    assert Decimal(longer["tds"]) < Decimal(plain["tds"])
    assert len(plain["samples"]) == 12
    odd = api.get(path(draft, "foretold"), {"dose_mass": "0"})
    assert odd.status_code == 400
    assert odd.json()["problems"][0]["field"] == "dose_mass"


@pytest.mark.parametrize("what", ["appraisal", "foretold"])
def test_questions_asked(api: APIClient, draft: Version, what: str) -> None:
    api.get("/api/v1/me/")  # notes the token's use, once an hour
    with CaptureQueriesContext(connection) as asked:
        api.get(path(draft, what), {"brew_pressure": "9"} if what == "foretold" else {})
    assert len(asked) <= 10  # two of them: what was measured to be kept
