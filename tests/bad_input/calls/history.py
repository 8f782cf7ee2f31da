"""Checks of the history."""

from tests.bad_input.call import Call
from tests.bad_input.pages.history import KEY, NO_KEYS, NO_NOTES, NOTE

HISTORY = [
    Call("POST", "history_checks", "owner", lambda t: {"since": NOTE, "key": KEY}, good=201,
         also={"since": NO_NOTES, "key": NO_KEYS}),
]  # fmt: skip
