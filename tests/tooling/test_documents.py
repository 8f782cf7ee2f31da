"""What the documents name exists, and every package and setting is named."""

import re
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.tooling.listing import ROOT, our_files

DOCUMENTS = [
    *(ROOT / name for name in ("DEVELOPERS.md", "README.md", "templates/README.md")),
    *sorted((ROOT / "docs").glob("*.md")),
]
FOLDERS = (
    "audit",
    "web",
    "people",
    "stations",
    "recipes",
    "embedded",
    "config",
    "gateway",
    "simulator",
)
TOPS = (*FOLDERS, "tests", "templates", "static", "docs", ".ci")
# Folders that Django or Python expects, and what runs make.
ITS_OWN = {"migrations", "management", "templatetags", "__pycache__"}
MADE = ("var/", ".venv/", "staticfiles")


def named(path: Path) -> Iterator[str]:
    """Everything in backticks, and every link to a file of ours, in words."""
    text = path.read_text()
    for quoted in re.findall(r"`([^`]+)`", text):
        yield from quoted.split()
    yield from re.findall(r"\]\(((?!https?:)[^)#]+)\)", text)


def is_there(word: str, beside: Path = ROOT) -> bool:
    """Whether a path (``*`` allowed) or dotted name of ours exists; True for any other word.

    A path is meant from the checkout, or from the document's own folder.
    """
    if word.startswith(MADE):
        return True
    if "/" in word and word.split("/", maxsplit=1)[0] in TOPS:
        path = word.partition("::")[0].rstrip("/")
        return any(any(place.glob(path)) for place in (ROOT, beside))
    if re.fullmatch(r"[\w-]+\.(py|md|toml|yml|txt)", word):
        return word in {path.name for path in our_files()}
    if re.fullmatch(rf"({'|'.join((*FOLDERS, 'tests'))})(\.\w+)+", word):
        return _module_or_member(word)
    return True


def _module_or_member(dotted: str) -> bool:
    place = ROOT / Path(*dotted.split("."))
    if place.is_dir() or place.with_suffix(".py").is_file():
        return True
    module, member = dotted.rsplit(".", 1)
    file = (ROOT / Path(*module.split("."))).with_suffix(".py")
    if not file.is_file():
        return False
    return (
        re.search(rf"^(class|def) {member}\b|^{member}\b.*=", file.read_text(), re.MULTILINE)
        is not None
    )


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_a_document_names_exists(path: Path) -> None:
    assert [word for word in named(path) if not is_there(word, path.parent)] == []


@pytest.mark.parametrize(
    "word", ["audit/gone.py", "recipes/gone/", "web.charts.Gone", "web.gone", "gone_for_good.py"]
)
def test_what_is_gone_would_be_found(word: str) -> None:
    assert not is_there(word)


def test_what_is_run_with_m_can_be() -> None:
    text = "".join(path.read_text() for path in DOCUMENTS)
    modules = set(re.findall(r"python -m ([\w.]+)", text))
    assert modules
    assert [module for module in modules if find_spec(module) is None] == []


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_map_has_every_package(folder: str) -> None:
    packages = {path.parent.name for path in (ROOT / folder).glob("*/__init__.py")} - ITS_OWN
    text = (ROOT / "DEVELOPERS.md").read_text()
    assert {name for name in packages if f"`{folder}/{name}/`" not in text} == set()


def test_every_setting_is_in_the_table() -> None:
    files = [*(ROOT / "config/settings").glob("*.py"), ROOT / "embedded/folder.py"]
    code = "".join(path.read_text() for path in files)
    read = set(re.findall(r"env\.\w+\(\s*\"([A-Z_]+)\"|environ\.get\(\"([A-Z_]+)\"", code))
    told = set(re.findall(r"`([A-Z_]+)`", (ROOT / "docs/operations.md").read_text()))
    assert {one or other for one, other in read} - told == set()


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_target_of_make_that_is_named_exists(path: Path) -> None:
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    assert set(re.findall(r"`make ([a-z]+)", path.read_text())) <= targets
