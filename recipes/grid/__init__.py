"""The grid: every site and slot on one page, now or at a moment that has passed."""
