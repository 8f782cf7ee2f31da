"""Planning a tasting: how much it could show, before anybody pours."""

import secrets
from dataclasses import dataclass
from decimal import Decimal

from audit.context import recorded
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes import history
from recipes.brewing.serving import MOST_SERVINGS
from recipes.brewing.taste import Method, PanelSize, critical_count, panel_size, power
from recipes.checks import Checks
from recipes.models import Tasting, Version
from stations.models import Site
from stations.rounded import rounded

WANTED_POWER = 0.8  # the usual aim, common practice
SAMPLE, SEED = 120, 100  # characters
LEAST_RISK, MOST_RISK = Decimal("0.0001"), Decimal("0.5")


@dataclass(frozen=True, slots=True)
class Prospect:
    """What so many answers can show: answers needed, power [%], panel for a power of 80 %."""

    assessments: int
    needed: int | None
    power: Decimal
    panel: PanelSize


def prospect(method: Method, assessments: int, risk: Decimal, share: Decimal) -> Prospect:
    """Judge a plan, if ``share`` (0 to 1) of the tasters could really tell."""
    true_share = float(share)
    return Prospect(
        assessments,
        critical_count(method, assessments, risk),
        rounded(100 * power(method, assessments, risk, true_share), 0),
        panel_size(method, risk, WANTED_POWER, true_share),
    )


def plan_tasting(
    *, site: Site, method: str, first_sample: str, second_sample: str, risk: Decimal,
    assessments: int, by: User, base: Version | None = None, other: Version | None = None,
    seed: str = "",
) -> Tasting:  # fmt: skip
    """Plan a session at a site; without a seed one is drawn.

    Samples may be described, or be versions, which then name themselves. Raises NotPermitted and
    Invalid.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=history.TASTING_PLANNED, subject=subject, site_id=site.pk):
        require(by, Verb.TASTING_RUN, site.pk, subject)
        first, second = first_sample.strip() or _name(base), second_sample.strip() or _name(other)
        checks = Checks()
        checks.that(method in list(Method), "method", method, f"one of {', '.join(Method)}")
        first = checks.text("first_sample", first, most=SAMPLE)
        second = checks.text("second_sample", second, most=SAMPLE)
        checks.that(first != second, "second_sample", second, "something other than sample A")
        checks.that(_is_risk(risk), "risk", risk, f"a number from {LEAST_RISK} to {MOST_RISK}")
        checks.whole("assessments", assessments, 1, MOST_SERVINGS, " of answers")
        seed = checks.text("seed", seed, most=SEED, required=False) or secrets.token_hex(8)
        checks.done()
        made = Tasting.objects.create(
            site=site, method=method, base=base, other=other, first_sample=first,
            second_sample=second, risk=risk, assessments=assessments, seed=seed, planned_by=by,
        )  # fmt: skip
        made.refresh_from_db(fields=["planned_at"])
        return made


def _is_risk(risk: object) -> bool:
    return isinstance(risk, Decimal) and risk.is_finite() and LEAST_RISK <= risk <= MOST_RISK


def _name(version: Version | None) -> str:
    return "" if version is None else str(version)[:SAMPLE]
