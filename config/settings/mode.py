"""Which of the three runs this is, and how values are read from the environment."""

import os
from pathlib import Path

BASE_DIR = Path(__file__).resolve().parents[2]

# pytest sets PYTEST_VERSION before it loads anything; the servers that tests start are
# told their own mode by whoever starts them (embedded), so the mode wins.
MODE = os.environ.get("PORTALEDGER_MODE") or (
    "test" if "PYTEST_VERSION" in os.environ else "production"
)
TESTING = MODE == "test"
DEMO = MODE == "demo"
DEBUG = os.environ.get("DEBUG") == "1"


def switched_on(name: str, *, default: bool) -> bool:
    """A yes/no variable: 1, true, yes or on, in any case."""
    value = os.environ.get(name, "")
    return value.lower() in {"1", "true", "yes", "on"} if value else default


def listed(name: str, *, default: str = "") -> list[str]:
    """A comma-separated variable, empty parts left out."""
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]
