"""The ledger's pages: what is signed, how far sealing lags, receipts to take away."""

import segno
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from audit.errors import NotFound
from audit.proving.api import provable, proven_entry, receipt_text, shown
from audit.reading.access import scope_of
from audit.retention.records import archived
from audit.sealing.keys import origin
from audit.sealing.lateness import lag_now
from audit.sealing.models import Checkpoint, LedgerKey, SealingEvent
from audit.sealing.store import newest_checkpoint
from audit.witnessing.standing import cosigned, lines_of, witnessing_now

LISTED, EVENTS = 20, 10


@require_safe
@login_required
def ledger(request: HttpRequest) -> HttpResponse:
    """The newest checkpoint, the ones before it, and how far sealing lags behind."""
    scope = scope_of(request.user)
    lag = lag_now()
    newest = lag.newest
    checkpoints = list(Checkpoint.objects.order_by("-id")[:LISTED])
    lines = lines_of(checkpoints)
    context = {
        "lag": lag,
        "events": SealingEvent.objects.order_by("-id")[:EVENTS],
        "newest": newest,
        "root": shown(newest)["root"] if newest else "",
        "code_image": _code(newest.note) if newest else "",
        "origin": origin(),
        "checkpoints": [(row, lines[row.pk]) for row in checkpoints],
        "witnessing": witnessing_now(),
        "keys": LedgerKey.objects.order_by("-id"),
        "archived": archived(),
        "whole": scope is None,
    }
    return render(request, "audit/proving/ledger.html", context)


@require_safe
@login_required
def checkpoint(request: HttpRequest) -> HttpResponse:
    """The newest checkpoint's note as a file, to keep outside; with its cosignatures."""
    scope_of(request.user)
    newest = newest_checkpoint()
    if newest is None:
        raise NotFound("Nothing was sealed yet.")
    return _file(cosigned(newest), f"checkpoint-{newest.size}.txt")


@require_safe
@login_required
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    """An entry's receipt: its place, the proof and the signed state, c2sp.org/tlog-proof@v1."""
    proven = proven_entry(pk) if provable(pk, scope_of(request.user)) else None
    if proven is None:
        raise NotFound("There is no such entry that you may read, or it is not sealed yet.")
    return _file(receipt_text(proven), f"entry-{pk}.tlog-proof")


MOST = 2_000  # characters: a QR code of 40 modules a side holds 2,331 bytes at this level


def _code(note: str) -> str:
    """A QR code of the note; none of one that marks very many entries."""
    if len(note) > MOST:
        return ""
    return segno.make(note, error="m", micro=False).svg_data_uri(border=4)


def _file(text: str, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return HttpResponse(text, content_type="text/plain; charset=utf-8", headers=headers)
