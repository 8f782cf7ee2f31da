"""A fit that is there already, for tests of pages that need one and not its making."""

from decimal import Decimal

import numpy as np
from django.utils import timezone

from audit.capture.context import recorded
from people.persons.models import User
from recipes.brewing.shot_model.fit import Fit
from recipes.modelling.actions import FIT_ASKED
from recipes.modelling.models import ShotFit
from recipes.modelling.result import Kept, to_json
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.shots.models import CheckShot


def fitted(station: Station, version: Version, shots: list[CheckShot], by: User) -> ShotFit:
    """A finished fit to these shots, of ordinary values."""
    values = np.array([12.0, 0.9, 0.06])
    fit = Fit(("grind", "absorbs", "slow_rate"), values, np.diag((values * 0.02) ** 2), 9, 1.1)
    covers = {"dose_mass": (Decimal("17.8"), Decimal("18.2")),
              "brew_temperature": (Decimal("93.0"), Decimal("93.0"))}  # fmt: skip
    spread = {"time": 0.9, "beverage": 0.5, "tds": 0.2}
    made = np.array([[27.0, 38.0, 8.9]] * len(shots))
    kept = Kept(fit, ("opening",), spread, covers, [shot.pk for shot in shots], made)
    with recorded(by=by, action=FIT_ASKED):
        return ShotFit.objects.create(
            station=station, version=version, by=by, state=ShotFit.State.DONE,
            finished_at=timezone.now(), result=to_json(kept), shots=len(shots),
            newest_shot=shots[-1],
        )  # fmt: skip
