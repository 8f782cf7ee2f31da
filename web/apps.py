"""What every page and endpoint shares."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """What every page and endpoint shares."""

    name = "web"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history our words."""
        from web import access  # noqa: F401
