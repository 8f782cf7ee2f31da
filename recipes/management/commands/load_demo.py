"""Load the demo scenario into an empty database, and say how to sign in."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from audit.capture.context import Channel, RequestContext, request_context
from people.persons.models import User
from recipes.demo.equipment import make_machines, make_sites
from recipes.demo.hashing import stretched_once
from recipes.demo.people import PASSWORD, assign_sites, make_people, sign_ins
from recipes.demo.story import Story


class Command(BaseCommand):
    """`manage.py load_demo`: does nothing to a database that has people in it."""

    help = "Load the demo scenario into an empty database."

    def handle(self, *args: object, **options: object) -> None:
        """Load it unless it is there, then print the sign-ins."""
        if not (settings.DEMO or settings.TESTING):
            raise CommandError(
                "The demo's people sign in with a password that everybody knows, so this is no "
                "deployment for them: `manage.py add_owner` adds its first owner."
            )
        request_context.set(RequestContext(channel=Channel.CONSOLE, request_id="load_demo"))
        if not User.objects.exists():
            with stretched_once():
                load()
        self.stdout.write(f"Sign in with the password {PASSWORD} as")
        for name, email in sign_ins():
            self.stdout.write(f"  {name:<24}{email}")


@transaction.atomic
def load() -> None:
    """The whole scenario, through the real actions; all of it or nothing."""
    cast = make_people()
    sites = make_sites(cast["owner"])
    make_machines(cast["owner"], sites)
    assign_sites(cast, sites)
    Story(cast, sites, timezone.now().date()).tell()
