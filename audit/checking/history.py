"""The history's words for its own checks."""

from audit.actions import register

CHECK_ASKED = register("history.check_asked", "Asked whether the history is intact")
CHECKED = register("history.checked", "Checked the history")
CHECK_STOPPED = register("history.check_stopped", "Stopped a check of the history")
