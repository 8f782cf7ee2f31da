"""History: who changed what, when and why."""

from django.apps import AppConfig


class AuditConfig(AppConfig):
    """History: who changed what, when and why."""

    name = "audit"
    default_auto_field = "django.db.models.BigAutoField"
