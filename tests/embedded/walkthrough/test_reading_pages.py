"""The walkthrough's own browser: it sends what a real one would, and nothing a page hides."""

import pytest

from embedded.walkthrough.page import Unexpected, read

PAGE = """
<!doctype html><title>Plan</title><style>.x{}</style>
<a href="/slots/1/">Slot <b>one</b></a>
<form action="/account/logout/" method="post"><button name="go">Sign out</button></form>
<form method="post">
  <input type="hidden" name="seen" value="abc">
  <input name="code" value="old" disabled>
  <textarea name="why">
first
second</textarea>
  <input type="checkbox" name="slots" value="1" checked>
  <input type="checkbox" name="slots" value="2">
  <input type="checkbox" name="sure">
  <input type="radio" name="where" value="all" checked><input type="radio" name="where" value="one">
  <select name="ends_by">
    <option value="">Choose</option><option value="volume">Volume</option></select>
  <input type="submit" name="save" value="Save">
</form>
<p>Brew&nbsp;temperature 93.0&nbsp;&deg;C</p>
"""


def test_the_text_is_what_a_person_reads() -> None:
    page = read("/x/", 200, PAGE)
    assert page.text.startswith("Plan Slot one")
    assert page.says("brew temperature 93.0 °C")
    assert ".x" not in page.text
    assert page.link("Slot one") == "/slots/1/"


def test_a_form_sends_what_a_browser_would() -> None:
    form = read("/x/?open=1", 200, PAGE).form(having="seen")
    assert form.action == "/x/?open=1"
    assert form.filled() == {
        "seen": ["abc"], "why": ["first\nsecond"], "slots": ["1"], "where": ["all"],
        "ends_by": [""],
    }  # fmt: skip
    filled = form.filled(sure=True, slots=["1", "2"], ends_by="volume", where="one")
    assert filled["sure"] == ["on"]
    assert filled["slots"] == ["1", "2"]


@pytest.mark.parametrize("typed", [{"code": "x"}, {"ends_by": "mass"}, {"slots": ["3"]}])
def test_nothing_the_page_does_not_offer(typed: dict[str, str]) -> None:
    form = read("/x/", 200, PAGE).form(having="seen")
    with pytest.raises(LookupError):
        form.filled(**typed)


def test_what_is_missing_is_said() -> None:
    page = read("/x/", 409, PAGE)
    for ask in (
        lambda: page.must(200),
        lambda: page.must(409, "not there"),
        lambda: page.link("Slot two"),
        lambda: page.form(having="password"),
        lambda: page.find("[0-9]{4}"),
    ):
        with pytest.raises(Unexpected, match="/x/"):
            ask()
