"""One table of twelve decimals, once for each peer."""

import pghistory
import pgtrigger
import reversion
from auditlog.registry import auditlog
from django.db import models
from simple_history.models import HistoricalRecords

from audit.capture.governed import exempt, governed

DIGITS = 12


def _decimal() -> "models.DecimalField[object, object]":
    return models.DecimalField(max_digits=DIGITS, decimal_places=3, default=0)


class Twelve(models.Model):
    a, b, c, d = _decimal(), _decimal(), _decimal(), _decimal()
    e, f, g, h = _decimal(), _decimal(), _decimal(), _decimal()
    i, j, k, m = _decimal(), _decimal(), _decimal(), _decimal()

    class Meta:
        abstract = True


@exempt("Measured without a history.")
class Plain(Twelve):  # noqa: DJ008
    pass


class Ours(Twelve):  # noqa: DJ008
    class Meta:
        triggers = governed(subject="peer", label="n.id::text")


@pghistory.track(pghistory.UpdateEvent(level=pgtrigger.Statement))
class PgHistory(Twelve):  # noqa: DJ008
    pass


class SimpleHistory(Twelve):  # noqa: DJ008
    history = HistoricalRecords()


class AuditLog(Twelve):  # noqa: DJ008
    pass


@reversion.register()
class Reversion(Twelve):  # noqa: DJ008
    pass


auditlog.register(AuditLog)
