"""`manage.py add_owner ADDRESS NAME`: the first owner of a new database, who adds all others."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from audit.capture.context import Channel, RequestContext, request_context
from audit.errors import DomainError
from people.persons.actions import assign_role, create_person
from people.persons.invitations import invite
from people.persons.models import User
from people.persons.verbs import Role


class Command(BaseCommand):
    """Adds an owner of all sites and prints the link by which they set their password."""

    help = __doc__ or ""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who, and under which address people open the program."""
        parser.add_argument("address", help="e-mail address to sign in with")
        parser.add_argument("name", help="as it is printed beside signatures")
        host = next(iter(settings.ALLOWED_HOSTS), "localhost").lstrip(".")
        parser.add_argument("--site", default=f"https://{host}", help="default: %(default)s")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Add them; all of it or nothing."""
        request_context.set(RequestContext(channel=Channel.CONSOLE))
        site = options["site"].rstrip("/")
        try:
            link = _added(options["address"], options["name"], site)
        except DomainError as refused:
            raise CommandError(refused.message) from refused
        self.stdout.write(f"Whoever opens this link first sets the password:\n{link}")


@transaction.atomic
def _added(address: str, name: str, site: str) -> str:
    person: User = create_person(by=None, email=address, name=name)
    assign_role(by=None, person=person, role=Role.OWNER)
    return invite(by=None, person=person, absolute=lambda path: site + path)
