"""What the demo's bars found out by tasting, and what their water is like."""

from datetime import date, timedelta
from decimal import Decimal

from people.persons.models import User
from recipes.brewing.serving import Serving
from recipes.brewing.taste import Method
from recipes.requests.models import ChangeRequest
from recipes.tastings.actions import attach, lock_answers, open_key, plan_tasting, record_answers
from recipes.tastings.result import session
from stations.equipment.models import Site
from stations.water.actions import record_water

WORDS = {2: "Rounder, less sharp at the end.", 7: "More body in the odd one."}  # by serving
PANEL, RIGHT = 18, 11  # of eighteen answers ten are needed at 5 %: ISO 4120

# Site, pH, hardness and alkalinity in mg/L as CaCO3, dissolved solids in mg/L, °C of the sample.
WATERS = (
    ("harbour", "7.6", "85", "60", "140", "16"),
    ("tramway", "7.5", "92", "64", "150", "17"),
    ("brickworks", "7.7", "310", "245", "420", "14"),
    ("summit", "7.1", "28", "22", "48", "9"),
)


def read_waters(sites: dict[str, Site], today: date, by: User) -> None:
    """Soft on the mountain, hard at Brickworks; Citadel has not been read."""
    for site, ph, hard, alkaline, solids, warm in WATERS:
        record_water(
            by=by,
            site=sites[site],
            taken_on=today - timedelta(days=20),
            ph=Decimal(ph),
            hardness_value=Decimal(hard),
            hardness_unit="mg/L CaCO3",
            alkalinity_value=Decimal(alkaline),
            alkalinity_unit="mg/L CaCO3",
            dissolved_solids=Decimal(solids),
            temperature=Decimal(warm),
            temperature_unit="°C",
            note="Strip and pen, behind the filter.",
        )


def taste(request: ChangeRequest, by: User) -> None:
    """A triangle of the approved version and the proposal, as evidence of the request."""
    tasting = plan_tasting(
        by=by, site=request.site, method=Method.TRIANGLE, base=request.base, first_sample="",
        second_sample="The same at 93.0 °C", risk=Decimal("0.05"), assessments=PANEL,
    )  # fmt: skip
    answers = {one.number: _answer(one) for one in session(tasting)}
    tasting = record_answers(
        by=by, tasting=tasting, revision=tasting.revision, answers=answers, notes=WORDS
    )
    tasting = lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    tasting = open_key(by=by, tasting=tasting, revision=tasting.revision)
    attach(by=by, tasting=tasting, revision=tasting.revision, request=request)


def _answer(serving: Serving) -> str:
    wrong = next(code for code in serving.codes if code != serving.key)
    return serving.key if serving.number <= RIGHT else wrong
