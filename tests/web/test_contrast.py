"""Every pair of colours that carries text or a control's edge, light and dark.

Thresholds and the formula: WCAG 2.2, success criteria 1.4.3 (4.5 : 1) and 1.4.11 (3 : 1),
"relative luminance" and "contrast ratio".
"""

import re
from pathlib import Path

import pytest

TOKENS = Path(__file__).parents[2] / "static/css/tokens.css"
PAPERS = ("paper", "sheet", "tint-settled", "tint-waiting", "tint-alarm")
TEXT = [(ink, ground) for ink in ("ink", "ink-soft", "accent") for ground in PAPERS] + [
    ("settled", "paper"),
    ("settled", "tint-settled"),
    ("waiting", "paper"),
    ("waiting", "tint-waiting"),
    ("alarm", "paper"),
    ("alarm", "sheet"),
    ("alarm", "tint-alarm"),
    ("paper", "ink"),
    ("paper", "alarm"),
    ("on-accent", "accent"),
    ("sheet", "chart-1"),
    ("on-chart-pale", "chart-pale"),
]
EDGES = [("rule-strong", "paper"), ("rule-strong", "sheet"), ("alarm", "sheet")] + [
    (line, "sheet") for line in ("chart-1", "chart-2", "chart-3", "chart-4", "chart-pale")
]


def palette(scheme: str) -> dict[str, str]:
    """The colours in force: the light ones, and in the dark what its media query replaces."""
    light, dark = TOKENS.read_text().split("@media (prefers-color-scheme: dark)")
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light))
    if scheme == "dark":
        colours |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark))
    return colours


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21."""
    dark, light = sorted([luminance(one), luminance(other)])
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_known_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_dark_replaces_every_colour() -> None:
    light, dark = palette("light"), palette("dark")
    assert light.keys() == dark.keys()
    assert all(light[name] != dark[name] for name in light)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_reads(scheme: str, ink: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[ink], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_of_controls_and_lines_of_charts_show(scheme: str, edge: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[edge], colours[ground]) >= 3
