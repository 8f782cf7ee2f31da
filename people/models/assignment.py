"""Which role a person has, and where."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.governed import governed
from people.roles import Role


class Assignment(models.Model):
    """One role of one person at one site, or at every site where `site` is empty."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="assignments"
    )
    role = models.CharField(max_length=20, choices=Role.choices)
    site = models.ForeignKey(
        "stations.Site", null=True, blank=True, on_delete=models.PROTECT, related_name="assignments"
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering = ["role", "site_id"]
        constraints = [
            models.UniqueConstraint(
                fields=["user", "role", "site"], nulls_distinct=False, name="assignment_once"
            ),
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="assignment_role_is_known"
            ),
        ]
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            site_id="n.site_id",
        )

    def __str__(self) -> str:
        return f"{self.get_role_display()} at {self.site or 'all sites'}"
