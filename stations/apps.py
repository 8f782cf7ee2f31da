"""The equipment and what its slots should and do hold."""

from django.apps import AppConfig


class StationsConfig(AppConfig):
    """The equipment and what its slots should and do hold."""

    name = "stations"
    default_auto_field = "django.db.models.BigAutoField"
