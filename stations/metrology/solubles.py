"""How much of roasted coffee water can dissolve at all."""

from __future__ import annotations

from decimal import Decimal

# Complete extraction, again and again, took out 29 to 36 % of the coffee (Lockhart, as a trade
# course quotes him; the paper itself was not opened); at up to 100 °C and ordinary pressure some
# 30 % (a coffee guide of the International Trade Centre, question 64). No cup comes near it.
MOST_SOLUBLE = Decimal(36)  # % of the dose
