"""A request and a read-back tapped three times at one moment, over real connections: done once.

The three go to a server that listens, each on a connection of its own, as from one page whose
button was tapped three times on a slow line.
"""

import http.client
from functools import partial
from urllib.parse import urlencode, urlsplit

import pytest
from bs4 import BeautifulSoup
from django.test import Client
from pytest_django.live_server_helper import LiveServer

from recipes.publishing import run
from recipes.requests.models import ChangeRequest
from stations.slots.models import ReadBack
from tests.bar import Bar, bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.races import at_once
from tests.services import rounds

__all__ = ["bar", "send"]

TAPS = 3
TYPED = ("hidden", "text", "number")

pytestmark = pytest.mark.django_db(transaction=True)


def posted(server: LiveServer, browser: Client, address: str, sent: dict[str, str]) -> str:
    """Where the answer leads. Raises AssertionError for an answer that leads nowhere."""
    cookies = "; ".join(f"{name}={one.value}" for name, one in browser.cookies.items())
    where = urlsplit(server.url)
    line = http.client.HTTPConnection(where.hostname or "", where.port, timeout=60)
    headers = {
        "Content-Type": "application/x-www-form-urlencoded", "Cookie": cookies,
        "Origin": server.url, "Referer": server.url + address,
    }  # fmt: skip
    line.request("POST", address, urlencode(sent), headers)
    answer = line.getresponse()
    body = answer.read().decode()
    line.close()
    assert answer.status == 302, (answer.status, said(body))
    return answer.headers["Location"]


def said(body: str) -> str:
    """What a page tells of what is wrong."""
    return BeautifulSoup(body, "html.parser").select("main")[0].get_text(" ", strip=True)[:600]


def form_of(browser: Client, server: LiveServer, address: str) -> dict[str, str]:
    """What the page's form would send as it stands, ticks and empty boxes left out."""
    page = browser.get(address, headers={"host": urlsplit(server.url).netloc})
    form = BeautifulSoup(page.content, "html.parser").select("main form[method=post]")[0]
    boxes = [each for each in form.select("input") if each.get("type", "text") in TYPED]
    sent = {str(each["name"]): str(each.get("value", "")) for each in boxes if each.get("value")}
    for chosen in form.select("select option[selected], select option:first-child"):
        select = chosen.find_parent("select")
        assert select is not None
        sent[str(select["name"])] = str(chosen.get("value", ""))
    return sent


def tapped(server: LiveServer, browser: Client, address: str, typed: dict[str, str]) -> set[object]:
    """Where the three answers lead."""
    sent = form_of(browser, server, address) | typed
    act = partial(posted, server, browser, address, sent)
    return set(map(str, at_once([act] * TAPS)))


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    run.run(send().pk)
    return bar


def test_one_change_request(placed: Bar, live_server: LiveServer, signed_in: SignedIn) -> None:
    browser = signed_in(placed.cast.shop_lead)
    address = f"/requests/new/?slot={placed.slots[0].pk}"
    for number in range(1, rounds(20, 2) + 1):
        typed = {"brew_temperature": f"9{number % 3}.5", "reason": f"Sour, {number}"}
        places = tapped(live_server, browser, address, typed)
        assert len(places) == 1, places
        assert places == {ChangeRequest.objects.latest("pk").get_absolute_url()}
        assert ChangeRequest.objects.count() == number


def test_one_read_back(placed: Bar, live_server: LiveServer, signed_in: SignedIn) -> None:
    browser, slot = signed_in(placed.cast.shop_lead), placed.slots[0]
    address = f"/slots/{slot.pk}/read-back/"
    for number in range(1, rounds(20, 2) + 1):
        places = tapped(live_server, browser, address, {"as_shown": "on"})
        assert len(places) == 1, places
        assert ReadBack.objects.filter(slot=slot).count() == number
