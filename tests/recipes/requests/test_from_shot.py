"""A request that a check shot leads to: the reason and the shots stand in it already."""

from decimal import Decimal

from django.urls import reverse

from recipes.publishing import run
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish


def test_reason_and_shots_are_filled_in(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    run.run(send().pk)
    slot, cup = bar.slots[0], Weighed(Decimal("18.0"), Decimal("38"), Decimal(28), taste="sour")
    shots = [log_shot(by=bar.cast.barista, slot=slot, shot=cup) for _ in range(2)]
    browser, address = signed_in(bar.cast.shop_lead), reverse("recipes:request_new")
    form = browser.get(f"{address}?slot={slot.pk}&shot={shots[-1].pk}").context["form"]
    assert form.initial["reason"] == (
        "It is within tolerance and tasted off in 2 of the last three."
    )
    assert form.initial["evidence"].count("18.0 g in, 38 g out in 28 s, sour") == 2
    assert browser.get(f"{address}?slot={slot.pk}&shot=999999").status_code == 404
    bare = browser.get(f"{address}?slot={slot.pk}").context["form"]
    assert "evidence" not in bare.initial
