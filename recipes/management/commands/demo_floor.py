"""Write the map of the demo's simulated bar, and print a code to enrol its gateway with."""

from argparse import ArgumentParser
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from audit.capture.context import Channel, RequestContext, request_context
from recipes.demo.floor import code_for, map_of
from stations.equipment.models import Site


class Command(BaseCommand):
    """`manage.py demo_floor SITE FILE`: for the demo alone."""

    help = "Write the map of a simulated bar like a site of the demo, and print a code for it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The site's code, and where its map goes."""
        parser.add_argument("site")
        parser.add_argument("file", type=Path)

    def handle(self, *args: object, **options: object) -> None:
        """Write, then print; a gateway that was enrolled before is left alone."""
        if not (settings.DEMO or settings.TESTING):
            raise CommandError("Simulated bars are for the demo.")
        request_context.set(RequestContext(channel=Channel.CONSOLE, request_id="demo_floor"))
        site = Site.objects.get(code=options["site"])
        Path(str(options["file"])).write_text(map_of(site))
        self.stdout.write(code_for(site))
