"""Users, roles and what each may do."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """Users, roles and what each may do."""

    name = "people"
    default_auto_field = "django.db.models.BigAutoField"
