"""The starter file: the example, with a machine type that is there, so that it can be imported."""

import csv
import io

from stations.importing.file import EXAMPLE
from stations.machine_types.models import MachineType

PLACEHOLDER = "Two boilers"  # the machine type of the example


def known_type() -> str:
    """The machine type that example rows name; empty where there is none yet.

    None whose name a spreadsheet would take for a formula and run.
    """
    names = MachineType.objects.exclude(name__regex=r"^[=+@-]").values_list("name", flat=True)
    return names.filter(name=PLACEHOLDER).first() or names.first() or ""


def starter() -> str:
    """The file's text; without any machine type the example as it stands."""
    name = known_type() or PLACEHOLDER
    written = io.StringIO()
    writer = csv.writer(written)
    for cells in csv.reader(io.StringIO(EXAMPLE, newline="")):
        writer.writerow([name if cell == PLACEHOLDER else cell for cell in cells])
    return written.getvalue()
