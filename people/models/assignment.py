"""Which role a person has, and where."""

from typing import Self

from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.governed import governed
from people.roles import Role


def all_sites() -> models.QuerySet[models.Model]:
    """Every site. Its model lies a layer above this one, so it is named, not imported."""
    return apps.get_model("stations", "Site")._default_manager.all()


class AssignmentQuerySet(models.QuerySet["Assignment"]):
    """Queries on roles given."""

    def of(self, person: models.Model) -> Self:
        """One person's, with the sites' names, in the order they are listed."""
        return self.filter(user_id=person.pk).select_related("site").order_by("role", "site__name")


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

    objects = AssignmentQuerySet.as_manager()

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
