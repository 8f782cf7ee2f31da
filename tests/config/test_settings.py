"""Settings from the environment: what an empty, odd or wrong variable does."""

import json
import subprocess
import sys
from typing import Any

import pytest

from audit.ledger.witness.cosignature import Cosigner
from config.environment import env
from config.settings.services import database
from tests.tooling.listing import ROOT

KEY = "x" * 50


def start(names: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """A process of its own that reads its settings from these variables alone."""
    ask = (
        "import json, config.settings as s;"
        f"print(json.dumps([getattr(s, n) for n in {names.split()}]))"
    )
    command = [sys.executable, "-c", ask]
    return subprocess.run(
        command, env=variables, cwd=ROOT, capture_output=True, text=True, check=False
    )


def settings(names: str, **variables: str) -> list[Any]:
    done = start(names, **{"SECRET_KEY": KEY, **variables})
    assert done.returncode == 0, done.stderr
    found: list[Any] = json.loads(done.stdout)
    return found


def test_a_deployment_without_a_key_does_not_start() -> None:
    done = start("DEBUG", SECRET_KEY="")
    assert done.returncode != 0
    assert "SECRET_KEY is not set: give 50 or more random characters" in done.stderr


@pytest.mark.parametrize("name", ["LEDGER_LATE", "TRUSTED_PROXIES", "DATABASE_POOL", "EMAIL_PORT"])
def test_a_number_that_is_none_stops_the_start(name: str) -> None:
    done = start("DEBUG", SECRET_KEY=KEY, **{name: "many"})
    assert done.returncode != 0
    assert "'many'" in done.stderr


def test_witnesses_that_can_not_be_meant_stop_the_start() -> None:
    key = Cosigner("laptop.example", b"\x01" * 32).verifier.text
    for wrong in (
        {"LEDGER_WITNESSES": key},
        {"LEDGER_WITNESSES": f"{key} ftp://there"},
        {"LEDGER_WITNESSES": f"{key} http://a,{key} http://b"},
        {"LEDGER_WITNESSES": f"{key} http://a", "LEDGER_WITNESSES_NEEDED": "2"},
        {"LEDGER_WITNESSES": f"{key} http://a", "LEDGER_WITNESSES_NEEDED": "0"},
    ):
        done = start("DEBUG", SECRET_KEY=KEY, **wrong)
        assert done.returncode != 0, wrong
        assert "is not usable; allowed" in done.stderr
    told = settings("LEDGER_WITNESSES_NEEDED", LEDGER_WITNESSES=f"{key} http://a")
    assert told == [1]
    assert settings("LEDGER_WITNESSES LEDGER_WITNESSES_NEEDED") == [[], 0]


def test_an_empty_variable_is_one_that_is_not_set() -> None:
    names = "EMAIL_HOST EMAIL_PORT EMAIL_USE_TLS LEDGER_MAIL_TO TRUSTED_PROXIES"
    empty = dict.fromkeys([*names.split(), "PORTALEDGER_MODE", "DEBUG"], "")
    assert settings(names, **empty) == settings(names) == ["localhost", 25, False, [], 0]


def test_a_password_may_begin_with_a_dollar_and_hold_others() -> None:
    odd = r"$HOME\$x$$"
    assert settings("EMAIL_HOST_PASSWORD", EMAIL_HOST_PASSWORD=odd, HOME="elsewhere") == [odd]


def test_lists_are_separated_by_commas() -> None:
    told = settings("LEDGER_MAIL_TO ALLOWED_HOSTS", LEDGER_MAIL_TO="a@x.example, b@x.example")
    assert told == [["a@x.example", "b@x.example"], ["127.0.0.1", "localhost", "testserver"]]


def test_only_the_demo_and_tests_go_without_tls() -> None:
    names = "SECURE_SSL_REDIRECT SESSION_COOKIE_SECURE SECURE_HSTS_SECONDS"
    assert settings(names) == [True, True, 365 * 24 * 60 * 60]
    assert settings(names, PORTALEDGER_MODE="demo") == [False, False, 0]
    assert settings("SECURE_SSL_REDIRECT", SSL_REDIRECT="no") == [False]


def test_a_database_by_host_and_by_socket() -> None:
    by_host = database("postgresql://u:p%40w@db:5433/n?sslmode=require")
    assert [by_host[key] for key in ("USER", "PASSWORD", "HOST", "NAME")] == ["u", "p@w", "db", "n"]
    assert by_host["OPTIONS"] == {"connect_timeout": 10, "sslmode": "require"}
    by_socket = database("postgresql://role@/n?host=%2Ftmp%2Fa%20b")
    assert (by_socket["HOST"], by_socket["OPTIONS"]) == ("/tmp/a b", {"connect_timeout": 10})


def test_the_environment_is_read_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEDGER_LATE", "7")
    assert env.int("LEDGER_LATE", default=60) == 7
    monkeypatch.setenv("LEDGER_LATE", "")
    assert env.int("LEDGER_LATE", default=60) == 60
