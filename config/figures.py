"""The figures of the whole deployment that `/metrics` tells, each at most one question."""

from typing import cast

from celery import current_app
from django.conf import settings
from django.db.models import F, Min
from django.db.models.functions import Now
from django.utils import timezone
from redis import Redis

from audit.alarms import alarms
from audit.sealing.lateness import waiting_now
from audit.witnessing.standing import witnessing_now
from recipes.publishing.models import Publication, PublicationSite
from stations.gateways.silence import silent
from stations.slots.models import Placement
from web.metrics import register_figure
from web.tasks import workers_alive


@register_figure("portaledger_workers_alive", "1 if workers gave a sign of life lately, else 0")
def _workers() -> float:
    return float(workers_alive())


@register_figure("portaledger_sealing_delay_seconds", "Age of the oldest entry not sealed yet")
def _sealing() -> float:
    return float(waiting_now().seconds)


@register_figure(
    "portaledger_witness_delay_seconds", "Age of the oldest state too few witnesses saw"
)
def _witness() -> float:
    now = witnessing_now()
    return (timezone.now() - now.since).total_seconds() if now and now.since else 0.0


@register_figure("portaledger_alarms", "Alarms that owners are shown")
def _alarms() -> float:
    return float(len(alarms()))


@register_figure("portaledger_publications_running", "Publications that are not complete")
def _running() -> float:
    return float(Publication.objects.filter(state=Publication.State.RUNNING).count())


@register_figure("portaledger_publication_delay_seconds", "Age of the oldest slot due, not placed")
def _late() -> float:
    rows = PublicationSite.objects.filter(
        publication__state=Publication.State.RUNNING,
        publication__lot=None,
        due_at__lte=Now(),
        placed__lt=F("slots") - F("cancelled"),
    )
    oldest = rows.aggregate(oldest=Min("due_at"))["oldest"]
    return (timezone.now() - oldest).total_seconds() if oldest else 0.0


@register_figure("portaledger_slots_differing", "Slots found to hold something else")
def _differing() -> float:
    return float(Placement.objects.differing().count())


@register_figure("portaledger_gateways_silent", "Gateways not heard of for as long as sites allow")
def _silent() -> float:
    return float(sum(found.key.startswith("gateway:") for found in silent()))


def _waiting(queue: str) -> float:
    prefix = current_app.conf.broker_transport_options["global_keyprefix"]
    address: str = settings.REDIS_URL
    with Redis.from_url(address, socket_timeout=1, socket_connect_timeout=1) as broker:
        return float(cast(int, broker.llen(f"{prefix}{queue}")))


@register_figure("portaledger_tasks_waiting", "Tasks in the queue of what somebody waits for")
def _prompt() -> float:
    return _waiting("celery")


@register_figure("portaledger_long_tasks_waiting", "Tasks in the queue of what may take minutes")
def _long() -> float:
    return _waiting("long")
