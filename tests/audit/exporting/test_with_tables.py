"""Tables and history in one file, as the page gives it, checked without a database."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client

from audit.exporting import with_tables
from audit.ledger.__main__ import main
from audit.sealing.seal import seal
from tests.audit.sealed import body, unguarded
from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db
PAGE, CALL = "/history/ledger/bundle/tables/", "/api/v1/history/bundle/tables/"
AGREES, DIFFERS = "of the tables are what it says", "The tables are NOT what it says"


def sealed() -> None:
    """All that waits, and what sealing itself wrote."""
    while seal():
        pass


@pytest.fixture
def browser(cast: Cast, signed_in: SignedIn) -> Client:
    """An owner's."""
    return signed_in(cast.owner)


@pytest.fixture
def verified(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    """How the offline check ends for these bytes, and its answer."""

    def run(exported: bytes, *more: str) -> tuple[int, str]:
        (tmp_path / "export").write_bytes(exported)
        code = main(["verify", str(tmp_path / "export"), *more])
        return code, capsys.readouterr().out

    return run


Verified = Callable[..., tuple[int, str]]


def test_one_file_holds_both(browser: Client, verified: Verified, tmp_path: Path) -> None:
    sealed()
    answer = browser.get(PAGE)
    assert "tables.bundle.jsonl" in answer["Content-Disposition"]
    exported = body(answer)
    code, words = verified(exported)
    assert code == 3, words  # intact, and no key was given
    assert AGREES in words
    sealed()
    assert body(browser.get(CALL)).startswith(b'["tables",')
    (tmp_path / "more").write_bytes(exported)
    assert verified(exported, "--tables", str(tmp_path / "more"))[0] == 2


def test_what_was_changed_past_the_triggers_is_named(
    browser: Client, cast: Cast, verified: Verified
) -> None:
    unguarded("UPDATE stations_site SET name = 'Elsewhere' WHERE id = %s", cast.site.pk)
    sealed()
    code, words = verified(body(browser.get(PAGE)))
    assert code == 1
    assert DIFFERS in words


def test_a_file_that_was_cut_or_changed_is_told(browser: Client, verified: Verified) -> None:
    sealed()
    lines = body(browser.get(PAGE)).splitlines(keepends=True)
    history = next(at for at, raw in enumerate(lines) if raw.startswith(b'["history"'))
    row = next(at for at, raw in enumerate(lines) if raw.startswith(b'["row"'))
    assert verified(b"".join(lines[history:]))[0] == 3  # without its tables a bundle like any other
    for damaged in (
        lines[:row] + lines[row + 1 :],  # a row less
        lines[: history - 1] + lines[history:],  # without the tables' last line
        lines[: history + 1],  # without the history
        lines[:-1],
        lines[1:],
    ):
        assert verified(b"".join(damaged))[0] in (1, 2)


def test_the_history_waits_until_what_the_tables_hold_is_sealed(
    browser: Client, cast: Cast, verified: Verified, monkeypatch: pytest.MonkeyPatch
) -> None:
    sealed()
    cast.site.name = "Pier"
    cast.site.save()
    waited = list[float]()

    def sealer(seconds: float) -> None:
        waited.append(seconds)
        seal()

    monkeypatch.setattr("audit.exporting.with_tables.time.sleep", sealer)
    code, words = verified(body(browser.get(PAGE)))
    assert waited
    assert code == 3
    assert AGREES in words


@pytest.mark.django_db(transaction=True)
def test_without_a_sealer_the_check_says_what_is_missing(
    browser: Client, cast: Cast, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    sealed()
    cast.site.name = "Pier"
    cast.site.save()
    monkeypatch.setattr(with_tables, "LONGEST", 0.0)
    (tmp_path / "export").write_bytes(body(browser.get(PAGE)))
    assert main(["verify", str(tmp_path / "export")]) == 1
    assert "once that entry is sealed" in capsys.readouterr().out
