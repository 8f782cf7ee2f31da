"""'Is the history intact?': the offline check, run here by a worker, for an owner who asks.

It reads what `audit.exporting.bundle` writes and judges with `audit.ledger.bundle.check`, the very
code of the offline check, with nothing stored in between. What it can't do is to vouch for the
server it runs on: the page says so.
"""
