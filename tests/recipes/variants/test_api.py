"""Variants over the API: read with the version, written one by one, compared."""

from recipes.formula.fields import shown
from recipes.versions.models import Version
from stations.machine_types.models import MachineType
from tests.cast import ApiAs, Cast
from tests.recipes.shelf import make_draft
from tests.recipes.variants.conftest import FLAT, STAGED, signed


def address(version: Version, of: MachineType) -> str:
    return f"/api/v1/versions/{version.pk}/variants/{of.pk}/"


def test_put_read_and_taken_away(
    cast: Cast, draft: Version, plain: MachineType, api_as: ApiAs
) -> None:
    client, url = api_as(cast.head_roaster), address(draft, plain)
    read = client.get(url)
    assert read.json() == {"formula": {}, "whole_lacks": [], "variant_lacks": []}
    body = {"formula": shown(FLAT)}
    answer = client.put(url, body, headers={"If-Match": read["ETag"]})
    assert answer.json()["variants"] == {str(plain.pk): shown(FLAT)}
    again = client.get(url)
    assert again.json()["formula"] == shown(FLAT)
    late = client.put(url, body, headers={"If-Match": read["ETag"]})
    assert late.status_code == 412
    gone = client.put(url, {"formula": {}}, headers={"If-Match": again["ETag"]})
    assert gone.json()["variants"] == {}


def test_an_approved_version_keeps_its_variants(
    cast: Cast, varied: Version, plain: MachineType, api_as: ApiAs
) -> None:
    version = signed(cast, varied)
    client, url = api_as(cast.head_roaster), address(version, plain)
    bodies: list[dict[str, object]] = [{"formula": shown(STAGED)}, {"formula": {}}]
    for body in bodies:
        tag = client.get(url)["ETag"]
        answer = client.put(url, body, headers={"If-Match": tag})
        assert answer.status_code == 409
        assert "only a version that is draft" in answer.json()["detail"]


def test_what_the_type_lacks_is_told(
    cast: Cast, varied: Version, plain: MachineType, api_as: ApiAs
) -> None:
    told = api_as(cast.head_roaster).get(address(varied, plain)).json()
    assert "can't set brew pressure" in told["whole_lacks"]
    assert told["variant_lacks"] == []


def test_two_versions_differ_in_their_variants(
    cast: Cast, varied: Version, plain: MachineType, api_as: ApiAs
) -> None:
    other = make_draft(cast, varied.recipe, STAGED)
    asked = f"/api/v1/recipes/{varied.recipe_id}/compare/?old={varied.number}&new={other.number}"
    told = api_as(cast.head_roaster).get(asked).json()
    assert told["differs"] == []
    assert told["variants_differ"] == {str(plain.pk): sorted(FLAT)}


def test_a_new_draft_carries_the_variants(
    cast: Cast, varied: Version, plain: MachineType, api_as: ApiAs
) -> None:
    url = f"/api/v1/recipes/{varied.recipe_id}/versions/"
    key = {"Idempotency-Key": "a-draft-with-variants"}
    made = api_as(cast.head_roaster).post(url, {"based_on": varied.pk}, headers=key).json()
    assert made["variants"] == {str(plain.pk): shown(FLAT)}
