"""The digest: bound to everything a signer sees, and the same in Python and in the database."""

import json
from datetime import date
from decimal import Decimal
from functools import partial
from hashlib import sha256

import pytest
from django.db import Error
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recipes.coffees.actions import add_lot
from recipes.formula.formula import Formula
from recipes.versions.digest import content, content_digest
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from recipes.versions.review import return_to_author, submit
from stations.metrology.formula import Stated
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, number, reasons
from tests.services import rounds
from web.text import printable

PRINTABLE = st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=60).filter(
    partial(printable, lines=False)
)
DOSES = st.decimals("5", "30", places=6) | st.decimals("5", "30", places=1)


def digest_with(cast: Cast, draft: Version, values: Formula, note: str = "") -> str:
    now = edit_draft(
        by=cast.head_roaster,
        version=draft,
        revision=Version.objects.get(pk=draft.pk).revision,
        values=values,
        note=note,
    )
    return content_digest(now)


def test_it_is_sha256_of_canonical_json(cast: Cast, draft: Version) -> None:
    # RFC 8785: no spaces, keys sorted, UTF-8. ASCII content leaves one way to write it.
    plain = json.dumps(content(draft), sort_keys=True, separators=(",", ":"))
    assert content_digest(draft) == sha256(plain.encode()).hexdigest()
    assert '"dose_mass":{"above":"0.1","below":"0.1","target":"18.0","text":""}' in plain


@pytest.mark.parametrize(
    "change",
    [
        {"dose_mass": number("18.1", "0.1", "0.1")},
        {"dose_mass": number("18.0", "0.2", "0.1")},
        {"dose_mass": number("18.0", "0.1")},
        {"ends_by": Stated(text="operator")},
        {"grind_note": Stated(text="finer")},
    ],
)
def test_one_changed_parameter_changes_it(cast: Cast, draft: Version, change: Formula) -> None:
    before = content_digest(draft)
    assert digest_with(cast, draft, FORMULA | change) != before


def test_note_lot_and_recipe_are_part_of_it(cast: Cast, draft: Version) -> None:
    before = content_digest(draft)
    assert digest_with(cast, draft, FORMULA, "Because") != before
    assert digest_with(cast, draft, FORMULA) == before
    lot = add_lot(
        by=cast.head_roaster, coffee=draft.recipe.coffee, code="A", roasted_on=date(2026, 1, 1)
    )
    other = new_draft(by=cast.head_roaster, recipe=draft.recipe, based_on=draft, lot=lot)
    with_lot = content(other)["lot"]
    assert with_lot == {"code": "A", "roasted_on": "2026-01-01"}
    assert content_digest(other) != before


@given(note=PRINTABLE, grind=PRINTABLE, dose=DOSES, above=st.none() | st.decimals("0", "9"))
@settings(
    max_examples=rounds(500, 40),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_the_database_computes_the_same(
    cast: Cast, draft: Version, note: str, grind: str, dose: Decimal, above: Decimal | None
) -> None:
    formula = FORMULA | {"dose_mass": Stated(dose), "grind_note": Stated(text=grind.strip())}
    if above is not None:
        above = min(above.quantize(Decimal("0.001")), Decimal(30) - dose)
        below = min(Decimal("0.10"), dose - Decimal(5))  # no dose is outside 5 to 30 g
        formula |= {"dose_mass": Stated(dose, below, above)}
    digest_with(cast, draft, formula, note)
    now = Version.objects.get(pk=draft.pk)
    # The trigger accepts no digest but its own: submitting is the comparison.
    waiting = submit(
        by=cast.head_roaster, version=now, revision=now.revision,
        answers=reasons(now, cast.head_roaster),
    )  # fmt: skip
    assert len(waiting.content_digest) == 64
    return_to_author(
        by=cast.second_roaster,
        version=waiting,
        revision=waiting.revision,
        comments={"": "Once more"},
    )


def test_the_database_takes_no_other_digest(draft: Version) -> None:
    with pytest.raises(Error, match="digest is not that of the content"):
        Version.objects.filter(pk=draft.pk).update(state="in_review", content_digest="0" * 64)
