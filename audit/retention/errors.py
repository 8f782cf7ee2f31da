"""What keeps a month from being archived."""


class ArchiveError(Exception):
    """Nothing was taken out of the history; the message says why."""
