"""Rules for every template: no inline style or script, labelled cells, documented parts."""

import re
from pathlib import Path

import pytest
from django.template.loader import get_template

FOLDER = Path(__file__).parents[2] / "templates"
TEMPLATES = sorted(FOLDER.rglob("*.html"))
NAMES = [str(path.relative_to(FOLDER)) for path in TEMPLATES]
SCRIPT = r'<script(?![^>]*\s(?:src=|type="application/json"))'
INLINE = re.compile(rf'\sstyle="|\son[a-z]+="|<style|{SCRIPT}|javascript:')
CELL = re.compile(r"<(td|th scope=\"row\")(\s[^>]*)?>")


@pytest.mark.parametrize("name", NAMES)
def test_it_compiles(name: str) -> None:
    get_template(name)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_inline(name: str) -> None:
    assert not INLINE.search((FOLDER / name).read_text())


@pytest.mark.parametrize("name", NAMES)
def test_every_cell_names_its_column(name: str) -> None:
    cells = [cell[0] for cell in CELL.finditer((FOLDER / name).read_text())]
    unlabelled = [c for c in cells if "data-label=" not in c and "colspan" not in c]
    assert not unlabelled


@pytest.mark.parametrize("part", sorted(path.name for path in (FOLDER / "parts").glob("*.html")))
def test_every_part_is_documented(part: str) -> None:
    assert f"`{part}`" in (FOLDER / "README.md").read_text()


def test_the_inline_check_finds_what_it_is_for() -> None:
    assert INLINE.search('<p style="color: red">')
    assert INLINE.search("<script>alert(1)</script>")
    assert INLINE.search('<button onclick="x()">')
    assert not INLINE.search('<script src="/static/js/forms.js" defer></script>')
    # Data, which no browser runs and no policy blocks.
    assert not INLINE.search('<script type="application/json">{}</script>')
