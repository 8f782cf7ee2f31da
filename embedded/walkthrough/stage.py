"""Who is on, and what earlier steps left for later ones."""

from collections import UserDict
from collections.abc import Mapping, Sequence

from embedded.walkthrough.browser import Addresses, Browser
from embedded.walkthrough.page import Unexpected

# The demo's sign-ins, which its start prints too. Tests hold them against the demo's own.
PASSWORD = "espresso-demo-only"  # noqa: S105 - the demo's
HEAD, SECOND, OWNER = "head-roaster", "second-roaster", "owner"
LEAD, OTHER_LEAD, BARISTA = "lead-harbour", "lead-citadel", "barista"


def email(key: str) -> str:
    """The address somebody signs in with."""
    return f"{key}@portaledger.example"


class Kept(UserDict[str, str]):
    """What was found on the way: addresses, numbers, names."""

    def __missing__(self, key: str) -> str:
        raise Unexpected(f"an earlier step left no {key}")


class Stage:
    """Everybody's browser, opened and signed in when first needed."""

    def __init__(self, bases: Sequence[str]) -> None:
        self._addresses = Addresses(bases)
        self._browsers: dict[str, Browser] = {}
        self.kept = Kept()

    def __getitem__(self, key: str) -> Browser:
        """The browser of that person. Raises Unexpected if they can't sign in."""
        if key not in self._browsers:
            browser = Browser(self._addresses)
            browser.sign_in(email(key), PASSWORD)
            self._browsers[key] = browser
        return self._browsers[key]

    def asked(self) -> Mapping[str, int]:
        """How many requests went to each web process."""
        return self._addresses.asked
