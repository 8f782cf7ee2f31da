"""What every page and endpoint shares."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """What every page and endpoint shares."""

    name = "web"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history our words, and how units are printed."""
        from audit.registry import register_units
        from web import access  # noqa: F401 - our words
        from web.printing import unit_label

        register_units(unit_label)
