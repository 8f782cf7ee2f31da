"""PINs that are guessed first: refused when they are set.

Common practice, no source: what the published counts of chosen PINs have at their heads are runs,
repetitions, years and patterns of the keypad, from memory.
"""

import re
from itertools import pairwise

FEWEST, MOST = 4, 8  # digits
ALLOWED = f"{FEWEST} to {MOST} digits that are not easily guessed: no run, no repetition, no year"
PATTERNS = frozenset({"2580", "0852", "1470", "1379", "2468", "1357", "13579", "147258", "159753"})
_YEAR = re.compile(r"(19|20)\d\d")
_DATE = re.compile(r"(0[1-9]|[12]\d|3[01])(0[1-9]|1[0-2])(19|20)\d\d")


def well_formed(digits: str) -> bool:
    """Whether it can be anybody's PIN at all."""
    return digits.isascii() and digits.isdigit() and FEWEST <= len(digits) <= MOST


def easily_guessed(digits: str) -> bool:
    """Whether a well-formed PIN is one of those that are tried first."""
    return (
        len(set(digits)) <= 2
        or digits in PATTERNS
        or _is_run(digits)
        or _is_repeated(digits)
        or bool(_YEAR.fullmatch(digits) or _DATE.fullmatch(digits))
    )


def _is_run(digits: str) -> bool:
    """1234, 9876 and 7890: each digit one on from the last, or one back."""
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(digits)}
    return steps in ({1}, {9})


def _is_repeated(digits: str) -> bool:
    """1212 and 123123: the same part again and again."""
    return digits in (digits + digits)[1:-1]
