"""Of a publication to many sites, its page shows those where something is left, and finds any."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from recipes.publishing import pages, run, windowed
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.publishing.hands import load

__all__ = ["send"]


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (pages, windowed):
        monkeypatch.setattr(module, "SITES", 1)


@pytest.mark.usefixtures("few")
def test_where_something_is_left_comes_first(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made, browser = send(), signed_in(bar.cast.head_roaster)
    run.run(made.pk)
    here, there = bar.cast.site, bar.cast.other_site
    load(bar, made, Placement.objects.filter(site=here).count())  # those of the first site by name
    parts = browser.get(made.get_absolute_url()).context
    left = {part.site_id for part in parts["sites"]}
    assert len(left) == 1
    assert Placement.objects.filter(site__in=left, verdict="unread").exists()
    assert parts["more"] == 1
    assert parts["total"] == Placement.objects.count()
    found = browser.get(made.get_absolute_url(), {"q": here.name[:4].upper()})
    assert [part.site for part in found.context["sites"]] == [here]
    assert "?q=" in found.context["progress_url"]
    progress = browser.get(found.context["progress_url"]).content.decode()
    assert here.get_absolute_url() in progress
    assert there.get_absolute_url() not in progress


def test_a_chain_s_page_is_no_longer(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made, browser = send(), signed_in(bar.cast.head_roaster)
    url = f"{made.get_absolute_url()}progress/"
    browser.get(url)
    with CaptureQueriesContext(connection) as asked:
        page = browser.get(url)
    assert len(asked) <= 7
    assert page.context["form"] is None  # nothing to look for among two
    assert browser.get(made.get_absolute_url(), {"q": "nowhere"}).context["sites"] == []
    assert browser.get(made.get_absolute_url(), {"q": "x" * 81}).status_code == 400
