"""Django looks for commands here."""
