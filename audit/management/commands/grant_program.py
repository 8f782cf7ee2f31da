"""Give the program's database role its rights, after every migration."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

from audit.privileges import grant


class Command(BaseCommand):
    """`manage.py grant_program`: connects by OWNER_DATABASE_URL, grants to PROGRAM_ROLE."""

    help = "Give the program's database role (PROGRAM_ROLE, or DATABASE_URL's) its rights."

    def handle(self, *args: object, **options: object) -> None:
        """Grant; CommandError when there is no such role, or it is the one we are."""
        role = str(settings.PROGRAM_ROLE)
        with connection.cursor() as cursor:
            query = "SELECT current_user, EXISTS (SELECT 1 FROM pg_roles WHERE rolname = %s)"
            cursor.execute(query, [role])
            ourselves, known = cursor.fetchone()
        if not known:
            raise CommandError(f"There is no role {role!r}: CREATE ROLE … LOGIN makes it.")
        if role == ourselves:
            raise CommandError(
                f"The program would run as {role!r}, who owns the tables: set OWNER_DATABASE_URL "
                "to the owner's address and DATABASE_URL to that of another, ordinary role."
            )
        with transaction.atomic():
            grant(role)
        self.stdout.write(f"{role} may do the program's work, and nothing to the history.")
