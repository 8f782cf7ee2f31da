"""What the history's pages call the columns of placements and read-backs."""

from audit.reading.labels import register_label


def register() -> None:
    """Called once, when the program starts."""
    register_label("stations_controlsettings", "values", "Settings")
    register_label("stations_controlsettings", "content_digest", "Digest of the formula")
    register_label("stations_placement", "basis_id", "Number of that")
    register_label("stations_readback", "found", "Found")
    register_label("stations_readback", "verdicts", "Verdict on each")
