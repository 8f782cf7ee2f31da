"""Asking, running, and where what was found is shown: pages, API, command, home, health."""

import uuid
from html import unescape
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.test import Client

from audit.alarms import alarms
from audit.capture.models import Entry
from audit.errors import NotPermitted, Refused
from audit.reconciling.actions import RECONCILIATIONS, SILENT, ask
from audit.reconciling.models import Reconciliation
from audit.reconciling.run import run_reconciliation
from audit.tasks import reconcile_tonight, take_up_checks
from stations.slots.models import ControlSettings
from tests.audit.sample import run
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.cast import ApiAs, Cast, SignedIn
from tests.publishing import Publish

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _only_ours(db: None) -> None:
    """Without the tables other tests make in the same database; they are back afterwards."""
    run("DROP TABLE IF EXISTS sample_jar, sample_note, sample_shelf CASCADE")


def text(client: Client, address: str) -> str:
    return unescape(client.get(address, follow=True).content.decode())


def reconciled(cast: Cast) -> Reconciliation:
    """Asked for, run and read again."""
    made = ask(by=cast.owner)
    assert run_reconciliation(made.pk)
    made.refresh_from_db()
    return made


def renamed(cast: Cast) -> None:
    """The harbour's name, past the triggers."""
    unguarded("UPDATE stations_site SET name = 'Elsewhere' WHERE id = %s", cast.site.pk)


@pytest.fixture
def browser(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


def test_a_database_as_the_history_has_it(browser: Client, cast: Cast) -> None:
    assert "None has run yet" in text(browser, "/history/reconciliations/")
    browser.post("/history/reconciliations/")
    made = Reconciliation.objects.get()
    assert "Asked for" in text(browser, "/history/reconciliations/")
    assert run_reconciliation(made.pk)
    page = text(browser, "/history/reconciliations/")
    assert "The tables are what the history says" in page
    assert not any("tables" in alarm.words for alarm in alarms())


def test_a_difference_is_shown_wherever_it_could_mislead(
    browser: Client, cast: Cast, signed_in: SignedIn
) -> None:
    renamed(cast)
    made = reconciled(cast)
    assert made.agrees is False
    assert made.counts == {"altered": 1}
    page = text(browser, f"/history/reconciliations/{made.pk}/")
    for word in ("Site", "Elsewhere", "Harbour", f"/sites/{cast.site.pk}/", "Name"):
        assert word in page
    told = "The tables are NOT what the history says: 1 difference"
    assert told in text(browser, "/")
    assert told in text(browser, "/healthz")
    assert told not in text(signed_in(cast.barista), "/")
    for who in (cast.owner, cast.barista):
        notice = text(signed_in(who), f"/sites/{cast.site.pk}/")
        assert "Not as the history has it" in notice
        assert "the history says Harbour, Elsewhere stands there" in notice
    assert "Elsewhere stands there" in text(browser, "/board/")
    assert "Elsewhere stands there" not in text(signed_in(cast.other_lead), "/board/")
    before = Entry.objects.count()
    assert "Elsewhere stands there" not in text(signed_in(cast.barista), "/board/")
    assert Entry.objects.count() == before
    other = text(browser, f"/sites/{cast.other_site.pk}/")
    assert "Not as the history has it" not in other


def test_once_it_is_put_right_nothing_is_shown_any_more(browser: Client, cast: Cast) -> None:
    renamed(cast)
    reconciled(cast)
    unguarded("UPDATE stations_site SET name = 'Harbour' WHERE id = %s", cast.site.pk)
    assert reconciled(cast).agrees
    assert "Not as the history has it" not in text(browser, f"/sites/{cast.site.pk}/")
    assert "NOT what the history says" not in text(browser, "/")


def test_settings_changed_past_the_triggers_are_named_on_the_slot(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    slot = bar.slots[0]
    settings = ControlSettings.objects.create(
        station=slot.station, title="House", values={"water_volume": {"value": "280", "unit": "1"}}
    )
    unguarded(
        "INSERT INTO stations_placement (slot_id, site_id, settings_id, basis, manner, state,"
        " verdict, due_at, started_at)"
        " VALUES (%s, %s, %s, 'by_hand', 'by_hand', 'in_force', 'unread', now(), now())",
        slot.pk, bar.cast.site.pk, settings.pk,
    )  # fmt: skip
    unguarded("UPDATE stations_controlsettings SET title = 'Other' WHERE id = %s", settings.pk)
    made = reconciled(bar.cast)
    assert made.counts == {"altered": 1, "unmade": 1}
    page = text(signed_in(bar.cast.barista), f"/slots/{slot.pk}/")
    assert "the history says House, Other stands there" in page


def test_signatures_are_worked_out_again(bar: Bar, browser: Client) -> None:
    unguarded(
        "UPDATE recipes_formulavalue SET target = target + 1"
        " WHERE version_id = %s AND code = 'brew_temperature'", bar.version.pk,
    )  # fmt: skip
    made = reconciled(bar.cast)
    assert made.counts["altered"] == 1
    assert made.counts["signature"] >= 1
    assert "Not as the history has it" in text(browser, f"/versions/{bar.version.pk}/")


def test_guards_that_are_off_are_told_beside(cast: Cast, browser: Client) -> None:
    run("ALTER TABLE stations_site DISABLE TRIGGER ALL")
    made = reconciled(cast)
    assert made.counts["guard"] > 1
    assert "is switched off" in text(browser, f"/history/reconciliations/{made.pk}/")


def test_one_at_a_time(browser: Client, cast: Cast) -> None:
    ask(by=cast.owner)
    with pytest.raises(Refused, match="under way"):
        ask(by=cast.owner)
    answer = browser.post("/history/reconciliations/")
    assert answer.status_code == 409
    assert "Wait for its answer" in unescape(answer.content.decode())
    assert reconcile_tonight() == 0


def test_one_that_a_killed_worker_left_is_taken_up_and_can_be_asked_for_again(cast: Cast) -> None:
    made = ask(by=cast.owner)
    run(
        "UPDATE audit_reconciliation SET runner = 'gone', seen_at = seen_at - %s * interval '1 s'",
        int(SILENT.total_seconds()) + 1,
    )
    assert run_reconciliation(made.pk)
    assert not run_reconciliation(made.pk)
    left = ask(by=cast.owner)
    run(
        "UPDATE audit_reconciliation SET runner = 'gone', seen_at = seen_at - %s * interval '1 s'"
        " WHERE id = %s", int(SILENT.total_seconds()) + 1, left.pk,
    )  # fmt: skip
    assert reconcile_tonight() > left.pk
    left.refresh_from_db()
    assert left.state == "stopped"


def test_the_nightly_one_is_taken_up_like_any_other(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    started = []
    monkeypatch.setattr(
        "audit.tasks.send_unless_waiting", lambda task, args: started.append(args[0])
    )
    made = reconcile_tonight()
    take_up_checks()
    assert started == [made]


def test_what_was_found_stays(cast: Cast) -> None:
    made = reconciled(cast)
    for change in ("UPDATE {} SET agrees = false", "DELETE FROM {}"):
        with pytest.raises(IntegrityError), transaction.atomic():
            run(change.format("audit_reconciliation"))
    assert RECONCILIATIONS.newest_answer() == made


def test_for_owners_of_every_site(cast: Cast, signed_in: SignedIn) -> None:
    for who in (cast.head_roaster, cast.shop_lead):
        with pytest.raises(NotPermitted):
            ask(by=who)
        assert signed_in(who).get("/history/reconciliations/").status_code == 403


def test_over_the_api(cast: Cast, api_as: ApiAs) -> None:
    renamed(cast)
    api = api_as(cast.owner)
    made = api.post(
        "/api/v1/history/reconciliations/", headers={"Idempotency-Key": uuid.uuid4().hex}
    )
    assert made.status_code == 201, made.content
    run_reconciliation(made.json()["id"])
    told = api.get(f"/api/v1/history/reconciliations/{made.json()['id']}/").json()
    assert told["agrees"] is False
    (one,) = told["findings"]
    assert (one["table"], one["column"]) == ("stations_site", "name")
    assert (one["said"], one["stands"]) == ("Harbour", "Elsewhere")


def test_by_the_command(cast: Cast) -> None:
    out = StringIO()
    call_command("reconcile", stdout=out)
    assert "are what the history says" in out.getvalue()
    renamed(cast)
    with pytest.raises(SystemExit):
        call_command("reconcile", stdout=out)
    assert "Site, Elsewhere: Name: the history says Harbour, Elsewhere stands there" in (
        out.getvalue()
    )


def test_thousands_of_differences_are_counted_and_some_are_listed(cast: Cast) -> None:
    unguarded(
        "INSERT INTO stations_site (code, name, time_zone, altitude, revision)"
        " SELECT 's' || i, 'S' || i, 'UTC', 0, 1 FROM generate_series(1, 3000) i"
    )
    made = reconciled(cast)
    assert made.counts == {"unmade": 3000}
    assert len(made.findings) == 25
    assert "3,000 differences" in made.verdict
