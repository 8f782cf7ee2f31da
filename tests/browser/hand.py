"""What a hand does at a screen, counted stroke by stroke, and what time that takes.

Keystroke-level model: Card, Moran & Newell, "The keystroke-level model for user performance time
with interactive systems", Communications of the ACM 23(7), 1980, 396-410; its operators' times from
memory. The slower of its typing speeds is taken. What the server takes is not in it: the pages that
answer have budgets of their own.
"""

from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect

K, P, H, M = 0.28, 1.1, 0.4, 1.35  # s: a keystroke, pointing, moving the hand there, preparing


@dataclass
class Hand:
    """Does what a barista does, and counts it; what has to be thought of is said."""

    page: Page
    keys: int = 0
    taps: int = 0
    thoughts: int = 0

    def think(self) -> None:
        """Before each step that is decided or read off: a slot, a scale, a timer."""
        self.thoughts += 1

    def tap(self, target: Locator) -> None:
        """Point at it, which has to be in sight without scrolling, and touch it."""
        expect(target).to_be_in_viewport()
        target.click()
        self.taps += 1

    def press(self, *keys: str) -> None:
        """Each one key of what the phone shows."""
        for key in keys:
            self.page.keyboard.press(key)
            self.keys += 1

    @property
    def seconds(self) -> float:
        """The estimate: one hand goes to the phone once, a tap is pointing and a stroke."""
        return H + self.thoughts * M + self.taps * (P + K) + self.keys * K
