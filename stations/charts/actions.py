"""Freezing the baseline a control chart is judged by."""

from collections.abc import Collection, Sequence

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.charts.charting import CHARTED, gaps_among, lineage_at, shots_of
from stations.charts.drifting import note_drift_later
from stations.charts.lineage import SHOWN, contents_of
from stations.charts.models import ChartBaseline
from stations.equipment.models import Station
from stations.metrology.charts import Baseline
from stations.metrology.charts import freeze_baseline as freeze
from stations.metrology.errors import BadValueError
from stations.shots.models import CheckShot
from web.numbers import rounded
from web.text import one_line

BASELINE_FROZEN = register("chart.baseline_frozen", "Froze baseline of control chart")

FEWEST = 2  # shots a spread takes
REASON = 500
PLACES = 6


def freeze_baseline(
    *,
    by: User,
    station: Station,
    content_digest: str,
    code: str,
    reason: str,
    newest: int | None = None,
) -> ChartBaseline:
    """Freeze centre and spread of the newest shots, as a recorded act with its reason.

    ``newest`` says of how many, such as those since the burrs were changed; None is all that are
    charted. Raises NotPermitted, Invalid without a reason, for a number that is none or for what
    was never brewed there, and Refused where the shots show no spread.
    """
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(by=by, action=BASELINE_FROZEN, reason=reason, subject=subject, site_id=site_id):
        require(by, Verb.CALIBRATION_RECORD, site_id, subject)
        why = reason.strip()
        if not one_line(why, REASON):
            raise Invalid("reason", reason, f"one line that says why, up to {REASON} characters")
        if code not in CHARTED:
            raise Invalid("value", code, f"one of {', '.join(CHARTED)}")
        if content_digest not in contents_of(station):
            raise Invalid("content", content_digest, "the digest of what was brewed there")
        if newest is not None and not FEWEST <= newest <= SHOWN:
            raise Invalid("newest", newest, f"a whole number from {FEWEST} to {SHOWN}")
        lineage = lineage_at(station, content_digest, code)
        shots = shots_of(station, content_digest, code, lineage)[-(newest or SHOWN) :]
        baseline = _baseline(shots, code, gaps_among(station, shots, code, lineage))
        note_drift_later(station_id=station.pk, content_digest=content_digest)
        return ChartBaseline.objects.create(
            station=station, content_digest=content_digest, code=code, reason=why, by=by,
            centre=rounded(baseline.centre, PLACES), spread=rounded(baseline.sigma, PLACES),
            shots=baseline.count, last_shot=shots[-1],
        )  # fmt: skip


def _baseline(shots: Sequence[CheckShot], code: str, gaps: Collection[int]) -> Baseline:
    """Centre and spread of the shots. Raises Refused where they show none."""
    try:
        return freeze([getattr(shot, code) for shot in shots], gaps)
    except BadValueError as error:
        raise Refused(
            "These shots can't be a baseline: it takes two at least that follow one another,"
            " and they have to differ.",
            how_to_ask="Log more check shots first; 20 are usual.",
        ) from error
