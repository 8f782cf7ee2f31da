"""Work out which control charts signal, all of them anew."""

from django.core.management.base import BaseCommand

from stations.charts.drifting import note_all_drifts


class Command(BaseCommand):
    """`manage.py note_drifts`: safe at any time; shots keep theirs up to date by themselves."""

    help = "Work out every control chart's drift anew from check shots and baselines."

    def handle(self, *args: object, **options: object) -> None:
        """Do it and say how many."""
        self.stdout.write(f"{note_all_drifts()} of the charts signal.")
