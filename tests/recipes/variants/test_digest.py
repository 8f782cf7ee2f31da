"""The digest binds every variant, in Python and in the database; without one it is what it was."""

import json
from hashlib import sha256

import pytest
from django.db import Error, connection, transaction

from audit.errors import Refused
from recipes.formula.formula import Formula
from recipes.variants.actions import remove_variant
from recipes.versions.digest import content, content_digest
from recipes.versions.models import Version
from recipes.versions.review import approve, return_to_author
from stations.machine_types.models import MachineType
from stations.metrology.formula import Stated
from tests.bar import PLAIN, machine_type
from tests.cast import Cast, credentials
from tests.recipes.shelf import number
from tests.recipes.variants.conftest import FLAT, add_variant, sent_for_review, signed


def fresh(version: Version) -> Version:
    return Version.objects.get(pk=version.pk)


def test_a_version_without_variants_has_no_word_of_them(draft: Version) -> None:
    assert set(content(draft)) == {
        "coffee", "drink", "formula", "lot", "note", "number", "recipe",
    }  # fmt: skip


def test_it_is_sha256_of_canonical_json(varied: Version, plain: MachineType) -> None:
    plainly = json.dumps(content(varied), sort_keys=True, separators=(",", ":"))
    assert content_digest(varied) == sha256(plainly.encode()).hexdigest()
    assert f'"variants":{{"{plain.pk}":{{"beverage_mass"' in plainly


@pytest.mark.parametrize(
    "change",
    [
        {"beverage_mass": number("34.1", "3", "3")},
        {"beverage_mass": number("34.0", "3", "2")},
        {"shot_time": Stated()},
        {"grind_note": Stated(text='finer \u00fc "quoted"')},
    ],
)
def test_one_changed_parameter_changes_it(
    cast: Cast, varied: Version, plain: MachineType, change: Formula
) -> None:
    before = content_digest(varied)
    add_variant(cast, varied, plain, FLAT | change)
    assert content_digest(fresh(varied)) != before


def test_for_which_machine_type_is_part_of_it(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    before, other = content_digest(varied), machine_type("Other", PLAIN)
    add_variant(cast, varied, other)
    now = fresh(varied)
    remove_variant(by=cast.head_roaster, version=now, machine_type=plain, revision=now.revision)
    assert content_digest(fresh(varied)) != before


def test_the_database_works_out_the_same(cast: Cast, varied: Version) -> None:
    """Also of a dozen variants, whose ids sort as text; it accepts no other digest."""
    for at in range(12):
        grind = {"grind_note": Stated(text=f'\u201c{at}\u201d \\ " \u00e9\U0001f600')}
        add_variant(cast, varied, machine_type(f"Type {at}", PLAIN), FLAT | grind)
    waiting = sent_for_review(cast, varied)
    assert waiting.content_digest == content_digest(fresh(varied))
    return_to_author(
        by=cast.second_roaster, version=waiting, revision=waiting.revision, comments={"": "Again"}
    )
    without = {key: value for key, value in content(waiting).items() if key != "variants"}
    other = sha256(json.dumps(without, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
    with pytest.raises(Error, match="not that of the content"), transaction.atomic():
        Version.objects.filter(pk=varied.pk).update(state="in_review", content_digest=other)


def test_whoever_saw_another_variant_does_not_sign(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    waiting = sent_for_review(cast, varied)
    seen = waiting.content_digest
    back = return_to_author(
        by=cast.second_roaster, version=waiting, revision=waiting.revision, comments={"": "Hm"}
    )
    add_variant(cast, back, plain, FLAT | {"beverage_mass": number("35", "3", "3")})
    waiting, by = sent_for_review(cast, varied), cast.second_roaster
    with pytest.raises(Refused, match="moved"):
        approve(by=by, version=waiting, seen=seen, credentials=credentials(by))


def test_a_variant_changed_past_the_guards_breaks_the_signature(
    cast: Cast, varied: Version
) -> None:
    version = signed(cast, varied)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("UPDATE recipes_variantvalue SET target = 30 WHERE code = 'beverage_mass'")
        cursor.execute("SET session_replication_role = DEFAULT")
    assert content_digest(fresh(version)) != version.content_digest
