"""The Dockerfile's instructions: hashes required, not root, healthy or restarted."""

import json
import re

from tests.tooling.listing import ROOT

KNOWN = {"FROM", "RUN", "COPY", "ENV", "WORKDIR", "USER", "EXPOSE", "HEALTHCHECK", "CMD"} | {
    "ENTRYPOINT",
    "ARG",
}


def instructions() -> list[tuple[str, str]]:
    """Each instruction and its arguments, continued lines joined."""
    text = re.sub(r"\\\n\s*", " ", (ROOT / "Dockerfile").read_text())
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [(line.split(None, 1)[0], line.split(None, 1)[1]) for line in lines]


def last(name: str) -> str:
    return [arguments for found, arguments in instructions() if found == name][-1]


def test_every_instruction_is_known() -> None:
    assert {name for name, _ in instructions()} <= KNOWN


def test_packages_are_installed_by_hash() -> None:
    installs = [text for name, text in instructions() if name == "RUN" and "pip install" in text]
    assert installs
    assert all("--require-hashes" in text for text in installs)


def test_it_does_not_run_as_root() -> None:
    names = [name for name, _ in instructions()]
    assert last("USER") == "10001"
    assert names.index("USER") < names.index("CMD")
    assert "RUN" not in names[names.index("USER") :]


def test_health_check_and_command_are_lists_of_words() -> None:
    probe = last("HEALTHCHECK").partition(" CMD ")[2]
    assert json.loads(probe) == ["python", "-m", "config.probe"]
    assert json.loads(last("ENTRYPOINT")) == ["python", "-m", "config.start"]
    assert json.loads(last("CMD"))[0] == "granian"


def test_everything_copied_exists_and_is_let_through() -> None:
    let_through = (ROOT / ".dockerignore").read_text().splitlines()
    for name, text in instructions():
        if name == "COPY" and not text.startswith("--from"):
            source = text.split()[0]
            assert (ROOT / source).exists(), source
            assert f"!{source}" in let_through, source


def test_every_package_of_the_program_is_copied() -> None:
    copied = {text.split()[0] for name, text in instructions() if name == "COPY"}
    packages = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    # Servers of the default run, tests and what runs at a bar have no place in a deployment.
    assert packages - copied == {"embedded", "gateway", "simulator", "tests"}
