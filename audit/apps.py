"""History: who changed what, when and why."""

from django.apps import AppConfig


class AuditConfig(AppConfig):
    """History: who changed what, when and why."""

    name = "audit"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register what a deployment is checked for, and the subjects of its own."""
        from django.db.models.signals import post_migrate

        from audit import privileges  # noqa: F401 - registers its checks
        from audit.checking import actions  # noqa: F401 - registers an alarm
        from audit.reconciling import actions as reconciling  # noqa: F401 - registers an alarm
        from audit.reconciling.carrying import carry
        from audit.reconciling.migrated import after_migrating
        from audit.registry import register_carrying, register_subject
        from audit.sealing import late, resume  # noqa: F401 - register an alarm, and words
        from audit.witnessing import offering, standing  # noqa: F401 - words, and an alarm

        register_subject("history_check", "Check of the history", "audit:check")
        register_subject("reconciliation", "Reconciliation", "audit:reconciliation")
        register_subject("baseline", "Baseline of the history")
        register_subject("structure", "Rules of the tables")
        register_subject("sealing", "Sealing of the history")
        register_subject("witness", "Witness of the history")
        register_subject("archive", "Archive of the history")
        register_carrying(carry)
        post_migrate.connect(after_migrating, sender=self, dispatch_uid="audit.migrated")
