"""Boxes to tick are drawn as Django draws them."""

from typing import Any

import pytest
from django import forms
from django.test import SimpleTestCase

from web.ticks import Ticks

FLAT = [("1", "Harbour"), ("2", "Up & over <hill>"), ('"', "Quote")]
GROUPED = [("City", [("1", "Harbour")]), ("Hills", [("2", "Upland")])]
ATTRS = [{}, {"id": "id_sites"}, {"id": "id_sites", "class": "wide", "aria-describedby": "help"},
         {"id": "x", "required": True, "disabled": True, "data-n": False}]  # fmt: skip


class Drawn(SimpleTestCase):
    """Compared as HTML, whatever the white space."""


@pytest.mark.parametrize("attrs", ATTRS)
@pytest.mark.parametrize("value", [None, [], ["1"], ["1", '"'], ["9"]])
@pytest.mark.parametrize("choices", [FLAT, GROUPED, []])
def test_the_same_as_django_s(attrs: dict[str, Any], value: Any, choices: Any) -> None:  # noqa: ANN401
    ours, plain = Ticks(choices=choices), forms.CheckboxSelectMultiple(choices=choices)
    Drawn().assertHTMLEqual(ours.render("sites", value, attrs), plain.render("sites", value, attrs))
