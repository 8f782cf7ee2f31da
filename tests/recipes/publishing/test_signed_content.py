"""Pages say of every signature whether the content still has the digest that was signed.

The tampering is done as a superuser with the triggers told to stand aside: what the database
itself refuses is tried elsewhere (test_invariant_signature.py).
"""

import json
from dataclasses import dataclass
from hashlib import sha256
from html import unescape

import pytest
from django.db import Error, connection, transaction
from django.test import Client

from audit.capture.models import Entry
from people.policy.models import Policy
from people.signatures.models import SignedContent
from recipes.permits.models import Permit
from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from tests.attacks import sql
from tests.bar import Bar
from tests.cast import allow_sole_roaster
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, measure
from tests.recipes.permits.test_permits import permit

__all__ = ["send"]
pytestmark = pytest.mark.django_db
SAME, CHANGED = "Content still has this digest.", "Content has changed since: "


def tamper(statement: str, *params: int | str | None) -> None:
    """As a superuser may."""
    sql("SET LOCAL session_replication_role = replica")()
    sql(statement, *params)()
    sql("SET LOCAL session_replication_role = origin")()


@dataclass(frozen=True)
class Signed:
    """One signature of each meaning: the page it stands on."""

    bar: Bar
    pages: dict[str, str]
    ids: dict[str, int]
    browser: Client

    def told(self, meaning: str) -> str:
        """The page as the owner reads it."""
        return unescape(self.browser.get(self.pages[meaning]).content.decode())


@pytest.fixture
def signed(bar: Bar, send: Publish) -> Signed:
    published = send()
    run.run(published.pk)
    first, other = bar.slots[0], bar.stations[1].slots.order_by("number")[0]
    permitted = permit([first], bar.cast.head_roaster)
    calibrated = accept(measure(other.station, "4.2", bar.cast.technician), bar.cast.technician)
    allow_sole_roaster(bar.cast)
    browser = Client()
    browser.force_login(bar.cast.owner)
    things: dict[str, Version | Publication | Permit | Calibration] = {
        "version": bar.version, "publication": published, "permit": permitted,
        "calibration": calibrated,
    }  # fmt: skip
    pages = {name: thing.get_absolute_url() for name, thing in things.items()}
    ids = {name: thing.pk for name, thing in things.items()}
    return Signed(bar, pages | {"policy": "/policy/"}, ids, browser)


@pytest.mark.parametrize("meaning", ["version", "publication", "permit", "calibration", "policy"])
def test_untouched_content_has_its_digest(signed: Signed, meaning: str) -> None:
    told = signed.told(meaning)
    assert SAME in told
    assert CHANGED not in told
    assert "Digest of what was seen" in told


TAMPERINGS = [
    ("version", "UPDATE recipes_formulavalue SET target = target + 1 WHERE version_id = %s"
                " AND code = 'brew_temperature'", "it has"),
    ("version", "UPDATE recipes_version SET note = 'another' WHERE id = %s", "it has"),
    ("publication", "UPDATE recipes_publication SET local_date = '2026-01-01',"
                    " local_time = '06:00' WHERE id = %s", "the moment"),
    ("publication", "UPDATE recipes_publication SET scope = '{}' WHERE id = %s", "the slots it"),
    ("publication", "UPDATE recipes_publication SET lot_id = 1 WHERE id = %s", "the lot it waits"),
    ("publication", "UPDATE stations_controlsettings SET values = jsonb_set(values,"
                    " '{brew_temperature,value}', '\"95.0\"') WHERE id IN (SELECT settings_id FROM"
                    " stations_placement WHERE basis = 'publication' AND basis_id = %s)",
     "settings of"),
    ("publication", "UPDATE recipes_formulavalue SET target = target + 1 WHERE code ="
                    " 'brew_temperature' AND version_id = (SELECT version_id FROM"
                    " recipes_publication WHERE id = %s)", "the version's content"),
    ("permit", "UPDATE recipes_permit SET ends_at = ends_at + interval '9 days' WHERE id = %s",
     "its end"),
    ("permit", "UPDATE recipes_permitchange SET target = 89.5 WHERE permit_id = %s",
     "what may differ"),
    ("permit", "UPDATE recipes_permitslot SET slot_id = (SELECT max(id) FROM stations_slot)"
               " WHERE permit_id = %s", "the slots it names"),
    ("permit", "UPDATE stations_controlsettings SET values = '{}' WHERE id IN (SELECT settings_id"
               " FROM stations_placement WHERE basis = 'permit' AND basis_id = %s)",
     "the settings of its slots"),
    ("calibration", "UPDATE stations_calibration SET value = value + 1 WHERE id = %s",
     "the result"),
    ("calibration", "UPDATE stations_calibration SET due_on = due_on + 400 WHERE id = %s",
     "when it is to be repeated"),
    ("calibration", "UPDATE stations_controlsettings SET values = '{}' WHERE id IN (SELECT"
                    " settings_id FROM stations_placement WHERE basis = 're_translation'"
                    " AND basis_id = %s)", "the settings of its slots"),
]  # fmt: skip


@pytest.mark.parametrize(("meaning", "statement", "what"), TAMPERINGS)
def test_what_was_tampered_with_is_said(
    signed: Signed, meaning: str, statement: str, what: str
) -> None:
    tamper(statement, signed.ids[meaning])
    told = signed.told(meaning)
    assert CHANGED in told
    assert what in told.split(CHANGED)[1][:120]
    assert SAME not in told


def test_the_policy_too(signed: Signed) -> None:
    tamper("UPDATE people_policy SET boiling = 'refuse'")
    assert f"{CHANGED}the rule for boiling" in signed.told("policy")


def test_what_is_kept_can_not_be_exchanged_unseen(signed: Signed) -> None:
    kept = SignedContent.objects.get(signature__subject_type="permit")
    other = json.dumps({**json.loads(kept.canonical), "ends_at": "2030-01-01T00:00:00+00:00"})
    tamper("UPDATE people_signedcontent SET canonical = %s WHERE signature_id = %s", other, kept.pk)
    assert f"{CHANGED}what is kept of it" in signed.told("permit")
    tamper("DELETE FROM people_signedcontent WHERE signature_id = %s", kept.pk)
    assert "What was seen was not kept" in signed.told("permit")


def test_an_entry_under_a_signature_says_it_as_well(signed: Signed) -> None:
    granted = Permit.objects.get(pk=signed.ids["permit"])
    entry = Entry.objects.filter(signature_id=granted.signature_id).latest("id")
    page = unescape(signed.browser.get(f"/history/{entry.pk}/").content.decode())
    assert SAME in page
    told = signed.browser.get(f"/api/v1/history/{entry.pk}/").json()["signature"]["content"]
    assert told == {"same": True, "words": SAME}
    tamper("UPDATE recipes_permit SET ends_at = ends_at + interval '1 day'")
    assert CHANGED in unescape(signed.browser.get(f"/history/{entry.pk}/").content.decode())
    told = signed.browser.get(f"/api/v1/history/{entry.pk}/").json()["signature"]["content"]
    assert told["same"] is False


def test_a_policy_replaced_since_is_known_by_what_was_kept(signed: Signed) -> None:
    first = Policy.current().signature
    allow_sole_roaster(signed.bar.cast, on=False)
    assert first
    entry = Entry.objects.filter(signature_id=first.pk).latest("id")
    assert SAME in unescape(signed.browser.get(f"/history/{entry.pk}/").content.decode())


def test_only_what_was_signed_is_kept_and_for_good(signed: Signed) -> None:
    for kept in SignedContent.objects.select_related("signature"):
        assert sha256(kept.canonical.encode()).hexdigest() == kept.signature.digest
    pk = signed.bar.version.signature_id
    for statement in (
        f"INSERT INTO people_signedcontent (signature_id, canonical) VALUES ({pk}, 'other')",
        "UPDATE people_signedcontent SET canonical = ''",
        "DELETE FROM people_signedcontent",
        "TRUNCATE people_signedcontent",
    ):
        with pytest.raises(Error), transaction.atomic():
            sql(statement)()
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM people_signedcontent")
        assert cursor.fetchone() == (4,)
