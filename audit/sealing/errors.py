"""What keeps the history from being sealed."""


class SealingError(Exception):
    """Nothing is sealed until somebody has looked; the message says what is wrong."""


class KeyMissingError(SealingError):
    """The file with the signing key is not there, or holds another history's key."""


class DamagedError(SealingError):
    """The stored tree lacks a part or does not fit its last checkpoint."""
