"""Users, roles and what each may do."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """Users, roles and what each may do."""

    name = "people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Make the words of the history known, and say which tables leave none."""
        from people import history, ungoverned  # noqa: F401 - only once models are there
