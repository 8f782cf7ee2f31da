"""History: who changed what, when and why."""

from django.apps import AppConfig


class AuditConfig(AppConfig):
    """History: who changed what, when and why."""

    name = "audit"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register what a deployment is checked for."""
        from audit import checks  # noqa: F401
