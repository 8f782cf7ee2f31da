"""A finding for tests that want one and no shots."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from audit.capture.context import recorded
from people.persons.models import User
from stations.causes.models import CauseFinding
from stations.causes.sweeping import CAUSE_FOUND
from stations.equipment.models import Station


def finding_at(station: Station, by: User, cause: str = "meter") -> CauseFinding:
    """One that nobody has answered, of the last hour."""
    now = timezone.now()
    points = [
        [(now - timedelta(minutes=20 - at)).isoformat(), 2.2 + 0.1 * (at > 8), 2.5, at * 0.9, 0.0]
        for at in range(20)
    ]
    with recorded(by=by, action=CAUSE_FOUND):
        return CauseFinding.objects.create(
            station=station, site_id=station.machine.site_id, cause=cause, upward=True,
            size=Decimal("0.1234") if cause == "meter" else Decimal("0.8"),
            total=Decimal("10.9"), decision=Decimal("10.2435"),
            run_length=100_000, shots=12, points=points, began_at=now - timedelta(minutes=12),
        )  # fmt: skip
