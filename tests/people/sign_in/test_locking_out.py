"""Wrong passwords lock where they come from: a stranger shuts nobody out."""

from django.test import Client

from tests.cast import PASSWORD, Cast

LOGIN = "/account/login/"


def signs_in(cast: Cast, client: str, password: str = PASSWORD) -> bool:
    """Whether the owner, or who says so, gets in from that address."""
    browser = Client(REMOTE_ADDR=client)
    browser.post(LOGIN, {"login": cast.owner.email, "password": password})
    return "_auth_user_id" in browser.session


def test_a_stranger_locks_themselves_out_and_nobody_else(cast: Cast) -> None:
    for _ in range(9):
        assert not signs_in(cast, "203.0.113.9", "wrong")
    assert not signs_in(cast, "203.0.113.9")
    assert signs_in(cast, "198.51.100.7")


def test_many_strangers_slow_it_and_still_shut_nobody_out(cast: Cast) -> None:
    for client in range(1, 31):
        assert not signs_in(cast, f"203.0.113.{client}", "wrong")
    assert not signs_in(cast, "203.0.113.200", "wrong")
    assert not signs_in(cast, "203.0.113.200")  # one try a minute by now
    assert signs_in(cast, "198.51.100.7")


def test_a_right_password_counts_for_no_limit(cast: Cast) -> None:
    assert all(signs_in(cast, "198.51.100.7") for _ in range(25))
