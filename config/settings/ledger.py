"""The ledger over the history: its signing key, its mail, and when it is late."""

import os

from config.settings.mode import BASE_DIR, listed

# The secret half of the key that signs checkpoints. Made at first start by whoever seals (the
# workers), readable by that user only, and never in the database: who can rewrite the database
# must not be able to sign what they wrote. Every worker needs the same file.
LEDGER_KEY_FILE = os.environ.get("LEDGER_KEY_FILE") or str(BASE_DIR / "var" / "ledger_key")
# The beginning of the history's name in its checkpoints; a random part follows it.
LEDGER_NAME = os.environ.get("LEDGER_NAME", "portaledger")
# Who gets the newest checkpoint every day: addresses outside, which nobody here can change later.
LEDGER_MAIL_TO = listed("LEDGER_MAIL_TO")
# Seconds after which an entry that is not sealed yet raises the alarm.
LEDGER_LATE = int(os.environ.get("LEDGER_LATE", "60"))
