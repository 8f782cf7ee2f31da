"""One subject's whole history, and one parameter of it as a chart with its table."""

import re
import xml.etree.ElementTree as ET
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from audit.registry import Registry
from tests.audit.sample import Jar, Shelf
from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(desk: Registry, cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


@pytest.fixture
def address(shelf: Shelf) -> str:
    jar = Jar.objects.create(shelf=shelf, name="salt", mass=Decimal("91.5"))
    for mass in ("92.0", "92.5", "91.0"):
        Jar.objects.filter(pk=jar.pk).update(mass=Decimal(mass))
    return reverse("audit:timeline", args=["shelf", shelf.pk])


def test_the_whole_of_it(owner: Client, address: str) -> None:
    page = owner.get(address).content.decode()
    assert page.count('<th scope="row" data-label="Time">') == 5
    assert "History of a shelf" in page
    assert "<figure" not in page


def test_one_parameter_with_chart_and_table(owner: Client, address: str) -> None:
    page = owner.get(address + "?parameter=mass").content.decode()
    assert page.count('<th scope="row" data-label="Time">') == 4
    found = re.search(r'<svg role="img" aria-label="([^"]+)".*?</svg>', page, re.DOTALL)
    assert found
    assert "4 values" in found[1]
    assert "between 91.000 and 92.500, last 91.000 g." in found[1]
    assert "Times in UTC" in page
    drawing = ET.fromstring(found[0])
    paths = [path.get("d", "") for path in drawing.iter("{http://www.w3.org/2000/svg}path")]
    steps = [path for path in paths if path.count("L") >= 6]  # four values: at least six corners
    assert steps, paths


def test_a_parameter_nobody_wrote_has_no_chart(owner: Client, address: str) -> None:
    page = owner.get(address + "?parameter=brew_temperature").content.decode()
    assert "<figure" not in page
    assert "No entry about this parameter here." in page


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("shelf/999999/", 404),
        ("nothing/1/", 404),
        ("shelf/99999999999999999999/", 404),
        ("%00/1/", 404),
        ("shelf/abc/", 404),
        ("shelf/1/?parameter=%00", 400),
        ("shelf/1/?parameter=mass'--", 400),
        ("shelf/1/?before=x", 400),
    ],
)
def test_addresses_that_make_no_sense(owner: Client, path: str, status: int) -> None:
    assert owner.get("/history/of/" + path).status_code == status
