"""The list of published values names checks that are there."""

import re
from importlib import import_module
from pathlib import Path

LIST = (Path(__file__).parent / "README.md").read_text()


def test_every_check_named_is_there() -> None:
    named = re.findall(r"`(test_\w+)::(test_\w+)`", LIST)
    assert len(named) > 60
    missing = [
        f"{module}::{name}"
        for module, name in named
        if not hasattr(import_module(f"tests.references.{module}"), name)
    ]
    assert missing == []


def test_every_module_here_is_named() -> None:
    modules = {path.stem for path in Path(__file__).parent.glob("test_*.py")} - {"test_list"}
    assert modules - set(re.findall(r"`(test_\w+)::", LIST)) <= {"test_ledger_note"}
