"""What every page and endpoint shares."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """What every page and endpoint shares."""

    name = "web"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history our words, how units are printed, and the worker its scripts."""
        from django.conf import settings

        from audit.registry import register_units
        from web import access  # noqa: F401 - our words
        from web.offline import register_scripts
        from web.printing import unit_label

        register_units(unit_label)
        register_scripts()
        if settings.TRACES_TO:
            from web.tracing import traces

            traces.begin(settings.TRACES_TO)
