"""The equipment and what its slots should and do hold."""

from django.apps import AppConfig


class StationsConfig(AppConfig):
    """The equipment and what its slots should and do hold."""

    name = "stations"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history how to show the equipment."""
        from stations import (
            history,  # noqa: F401 - registers its words
            shown,
        )

        shown.register()
