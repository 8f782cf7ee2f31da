"""A recipe's page says where it is in force now, and what is on its way."""

from recipes.publishing import run
from recipes.publishing.scope import Scope, Where
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.publishing.hands import next_week

__all__ = ["send"]


def test_where_it_is_in_force_and_what_waits(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    browser, path = signed_in(bar.cast.head_roaster), f"/recipes/{bar.version.recipe_id}/"
    assert "In force nowhere yet" in browser.get(path).content.decode()
    run.run(send(scope=Scope(Where.ALL, slot_numbers=(1,))).pk)
    later = send(scope=Scope(Where.ALL, slot_numbers=(2,)), when=next_week())
    shown = browser.get(path)
    rows = [(row.site, row.version.number, row.slots) for row in shown.context["standing"].rows]
    assert rows == [("Harbour", 1, 3), ("Upland", 1, 1)]
    page = shown.content.decode()
    assert later.get_absolute_url() in page
    assert f"/publications/?recipe={bar.version.recipe_id}" in page


def test_of_other_sites_nothing_is_told(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    run.run(send(scope=Scope(Where.ALL, slot_numbers=(1,))).pk)
    shown = signed_in(bar.cast.shop_lead).get(f"/recipes/{bar.version.recipe_id}/")
    assert {row.site for row in shown.context["standing"].rows} == {"Harbour"}
    assert "Upland" not in shown.content.decode()
