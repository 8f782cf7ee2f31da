"""Work goes on in the old database: what was planned, signed and placed there can be acted upon."""

from typing import Any
from uuid import uuid4

from celery import current_app
from rest_framework.test import APIClient

from audit.capture.installed import differences
from audit.reading.labels import label_of
from audit.reading.queries import HistoryFilter, page_of
from audit.registry import SignatureShown, content_of, registry
from people.persons.models import User
from people.signatures.content import SAME
from people.signatures.models import Signature
from stations.machine_types.models import MachineType
from tests.before.conftest import PASSWORD, People
from tests.cast import ApiAs

ROOT = "/api/v1/"
WAITING = 6  # the calibration that was proposed and not decided
REASON = "Carried over from the old database."


def act(api: APIClient, path: str, body: dict[str, Any]) -> Any:  # noqa: ANN401  parsed JSON
    """POST with a key of its own, upon the thing as it is now."""
    thing = f"{ROOT}{path.rstrip('/').rpartition('/')[0]}/"
    tag = api.get(thing).headers.get("ETag", "")
    headers = {"Idempotency-Key": uuid4().hex, **({"If-Match": tag} if tag else {})}
    answer = api.post(f"{ROOT}{path}", body, format="json", headers=headers)
    assert answer.status_code in {200, 201}, answer.content
    return answer.json()


def signed(by: User, plan: dict[str, Any]) -> dict[str, Any]:
    return {
        "seen_digest": plan["digest"], "reason": REASON,
        "email": by.email, "password": PASSWORD,
    }  # fmt: skip


def work(task: str, pk: int) -> None:
    """As a worker takes it up, here and now."""
    current_app.loader.import_default_modules()
    current_app.tasks[task].apply(args=(pk,), throw=True)


def changed_signatures() -> list[SignatureShown]:
    """Signatures whose content is no longer what was signed."""
    signatures = map(registry.signature, Signature.objects.values_list("pk", flat=True))
    return [signed for signed in signatures if signed and content_of(signed) != SAME]


def test_a_version_is_published_again(before: People, api_as: ApiAs) -> None:
    who = before.head_roaster
    api = api_as(who)
    version = api.get(f"{ROOT}versions/?state=approved").json()["results"][0]
    body = {"version": version["id"], "where": "all", "slot_numbers": [4]}
    plan = act(api, "publications/plan/", body)
    made = act(api, "publications/", {**body, **signed(who, plan), "acknowledged": True})
    work("recipes.tasks.run_publication", made["id"])
    done = api.get(f"{ROOT}publications/{made['id']}/").json()
    assert done["state"] == "complete"
    assert sum(site["placed"] for site in done["sites"]) > 0
    assert changed_signatures() == []


def test_a_calibration_that_waited_is_accepted(before: People, api_as: ApiAs) -> None:
    who = before.technician
    api = api_as(who)
    plan = api.get(f"{ROOT}calibrations/{WAITING}/plan/").json()
    assert plan["slots"]
    done = act(api, f"calibrations/{WAITING}/accept/", signed(who, plan))
    assert done["state"] == "accepted"
    assert changed_signatures() == []


def test_a_permit_in_force_is_ended(before: People, api_as: ApiAs) -> None:
    api = api_as(before.head_roaster)
    (permit,) = api.get(f"{ROOT}permits/").json()["results"]
    done = act(api, f"permits/{permit['id']}/end/", {"reason": REASON})
    assert done["state"] == "ended"
    assert changed_signatures() == []


def test_a_slot_is_read_back(before: People, api_as: ApiAs) -> None:
    api = api_as(before.shop_lead)
    slot = api.get(f"{ROOT}slots/?condition=matches").json()["results"][0]
    held = slot["should_hold"]
    found = {code: reading["value"] for code, reading in held["settings"].items()}
    act(api, f"slots/{slot['id']}/read-backs/", {"placement": held["id"], "found": found})
    assert api.get(f"{ROOT}slots/{slot['id']}/").json()["condition"] == "matches"


def test_a_draft_begins_at_an_old_version(before: People, api_as: ApiAs) -> None:
    api = api_as(before.head_roaster)
    version = api.get(f"{ROOT}versions/?state=approved").json()["results"][0]
    draft = act(api, f"recipes/{version['recipe']}/versions/", {"based_on": version["id"]})
    assert (draft["state"], draft["number"]) == ("draft", version["number"] + 1)


def test_the_history_of_a_machine_type_goes_on_under_its_new_name(
    before: People, api_as: ApiAs
) -> None:
    api = api_as(before.owner)
    path = f"{ROOT}machine-types/"
    held = api.get(path).json()["results"][0]
    one = f"{path}{held['id']}/"
    body = {"name": f"{held['name']}, serviced", "ends_by": held["ends_by"], "abilities": []}
    body["abilities"] = [{k: a[k] for k in a if k != "unit"} for a in held["abilities"]]
    headers = {"If-Match": api.get(one).headers["ETag"]}
    assert api.put(one, body, format="json", headers=headers).status_code == 200
    page = page_of(HistoryFilter(subject_type="machine type", subject_id=held["id"]), None)
    assert [entry.subject_type for entry in page.entries][:2] == ["machine type", "ability set"]
    assert label_of("stations_ability", "ability_set_id").target is MachineType
    assert label_of("stations_abilityset", "ends_by").name == "A shot can end by"


def test_it_guards_itself_like_a_new_one(before: People) -> None:
    assert differences() == []


def test_every_slot_shows_what_it_should_hold(before: People, api_as: ApiAs) -> None:
    """Settings that no longer fit their signature would not be shown as settings."""
    api, address, shown = api_as(before.owner), f"{ROOT}slots/", 0
    while address:
        page = api.get(address).json()
        for held in (slot["should_hold"] for slot in page["results"] if slot["should_hold"]):
            assert held["settings"], held
            assert held["signature"] or held["basis"] == "by_hand", held
            shown += 1
        address = page["next"]
    assert shown > 50
