"""Which units somebody reads and types: °C or °F, g or oz."""
