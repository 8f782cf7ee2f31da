"""Charts: one picture of plain data, in the page's own colours, said in a sentence as well."""

import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from xml.etree import ElementTree as ET

import pytest

from tests.tooling.listing import ROOT
from web import chart_svg
from web.charts import Band, Bars, Curve, Lanes, Level, Panel, Part, Span, Steps, drawing

BEGAN = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
LATER = BEGAN + timedelta(days=40)
CURVES = (Curve("above", (1, 2, 3), (1.0, 4.0, 2.0)), Curve("below", (1, 2, 3), (1.0, 0.5, 2.0)))
PARTS: dict[str, Part] = {
    "panel": Panel(
        "sum / g", "shot", CURVES, (Level(3.0, "limit"), Level(2.0, "margin", upright=True)),
        marked=((2, 4.0),), bands=(Band((1, 3), (0.0, 0.0), (1.0, 2.0)),), counted=True,
    ),
    "bars": Bars("acts", ("Jan", "Feb"), (("acts", (3.0, 1.0)), ("refused", (0.0, 2.0)))),
    "steps and drafts": Steps(
        "Target, g", ((BEGAN, Decimal("18.0")),), loose=((LATER, Decimal("18.5")),),
        names=("Approved", "Draft"),
    ),
    "steps": Steps("Target, g", ((BEGAN, Decimal("18.0")), (LATER, Decimal("18.5")))),
    "lanes": Lanes(
        ("Versions", "Harbour"), ("approved", "in force", "on permit"),
        (Span("Versions", "approved", BEGAN, LATER, "v1: 93.0 \u00b0C"),
         Span("Harbour", "on permit", BEGAN, LATER, "")), BEGAN, LATER,
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", PARTS)
def test_drawn_as_one_picture_named_by_its_sentence(kind: str) -> None:
    svg = drawing([PARTS[kind]], 'Said "so" & <more>.').svg
    top = ET.fromstring(svg)
    assert (top.get("role"), top.get("aria-label")) == ("img", 'Said "so" & <more>.')
    inner = [one for one in top.iter() if one is not top]
    assert not [one for one in inner if one.get("role") or one.get("style")]


@pytest.mark.parametrize("kind", PARTS)
def test_what_is_drawn_fits_the_published_schema(kind: str) -> None:
    """Pages draw without asking."""
    assert chart_svg.sheet_of([PARTS[kind]]).to_dict(validate=True)["vconcat"]


@pytest.mark.parametrize("kind", PARTS)
def test_every_colour_is_the_pages(kind: str) -> None:
    svg = drawing([PARTS[kind]], "All.").svg
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none", "transparent"}
    assert {colour for colour in colours if not re.fullmatch(r"var\(--[\w-]+\)", colour)} == set()


def test_names_come_from_people_and_stay_text() -> None:
    site = "<script>Bar & co</script>"
    span = Span(site, "in force", BEGAN, LATER, "93 <b>")
    part = Lanes((site,), ("approved", "in force", "on permit"), (span,), BEGAN, LATER)
    svg = drawing([part], "All.").svg
    assert "<script" not in svg
    assert "<b>" not in svg
    ET.fromstring(svg)


def test_two_charts_of_a_page_share_no_id() -> None:
    ids = [
        set(re.findall(r' id="([^"]+)"', drawing([part], "All.").svg)) for part in PARTS.values()
    ]
    assert sum(map(len, ids)) == len(set().union(*ids))


def test_nothing_is_loaded_for_drawing_before_something_is_drawn() -> None:
    """Altair takes a second to load, which every command and worker would pay."""
    ask = (
        "import django, sys; django.setup(); import config.urls, config.celery;"
        "print({'altair', 'vl_convert'} & set(sys.modules))"
    )
    env = {"PORTALEDGER_MODE": "test", "DJANGO_SETTINGS_MODULE": "config.settings"}
    done = subprocess.run(
        [sys.executable, "-c", ask], env=env, cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "set()"
