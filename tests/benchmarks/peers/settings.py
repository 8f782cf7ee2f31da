"""The product's settings, and the peers' apps."""

from config.settings import *
from config.settings import INSTALLED_APPS as OURS

INSTALLED_APPS = [
    *OURS,
    "pghistory",
    "simple_history",
    "auditlog",
    "reversion",
    "tests.benchmarks.peers",
]
# Reversion's name for a person's revisions is that of our users' revision number.
SILENCED_SYSTEM_CHECKS = ["fields.E303"]
