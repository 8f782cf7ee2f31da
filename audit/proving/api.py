"""The ledger over the API: checkpoints, and the proofs that lead to them."""

import base64
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import NotFound
from audit.ledger.checkpoint import Receipt
from audit.reading.access import HistoryEndpoint, scope_of
from audit.reading.filters import whole_number
from audit.reading.queries import visible
from audit.retention.records import archive_of
from audit.sealing.models import Checkpoint
from audit.sealing.payload import payload_by_id
from audit.sealing.proofs import Inclusion, consistency, inclusion
from audit.witnessing.standing import cosigned, lines_of, newest_witnessed

PAGE = 50
LARGEST = 2**62


class CheckpointSerializer(serializers.Serializer[Any]):
    """A signed state: how many entries, their root in base64, and the C2SP note.

    `cosignatures` are lines of witnesses (C2SP tlog-cosignature) that go after the note.
    """

    id = serializers.IntegerField()
    size = serializers.IntegerField()
    root = serializers.CharField()  # type: ignore[assignment]
    note = serializers.CharField()
    cosignatures = serializers.ListField(child=serializers.CharField())
    made_at = serializers.DateTimeField()


class CheckpointPageSerializer(serializers.Serializer[Any]):
    """Newest first; `next` is the address of older ones."""

    next = serializers.CharField(allow_null=True)
    results = CheckpointSerializer(many=True)


class ProofSerializer(serializers.Serializer[Any]):
    """An entry's inclusion proof. `index` counts from 0; hashes are base64.

    SHA-256 of a zero byte and `payload` is the leaf's hash; of an archived entry the payload is
    its line in the archive, and null here. `receipt` is all of it as c2sp.org/tlog-proof@v1.
    """

    index = serializers.IntegerField()
    size = serializers.IntegerField()
    leaf = serializers.CharField()
    root = serializers.CharField()  # type: ignore[assignment]
    proof = serializers.ListField(child=serializers.CharField())
    payload = serializers.CharField(allow_null=True)
    receipt = serializers.CharField()


class ConsistencySerializer(serializers.Serializer[Any]):
    """RFC 9162 section 2.1.4: the state of `to` entries begins with that of `from`."""

    proof = serializers.ListField(child=serializers.CharField())


class CheckpointsView(HistoryEndpoint):
    """Signed states of the history."""

    query = (OpenApiParameter("before", OpenApiTypes.INT64, description="the id of a checkpoint"),)

    @extend_schema(responses=CheckpointPageSerializer)
    def get(self, request: Request) -> Response:
        """A page of checkpoints, newest first."""
        scope_of(request.user)
        before = _whole(request, "before", LARGEST)
        rows = list(Checkpoint.objects.filter(id__lt=before).order_by("-id")[: PAGE + 1])
        here = request.build_absolute_uri(request.path)
        older = f"{here}?before={rows[PAGE - 1].pk}" if len(rows) > PAGE else None
        lines = lines_of(rows[:PAGE])
        results = [
            {**shown(row), "cosignatures": [one.line for one in lines[row.pk]]}
            for row in rows[:PAGE]
        ]
        return Response({"next": older, "results": results})


class ProofView(HistoryEndpoint):
    """Inclusion of an entry."""

    @extend_schema(responses=ProofSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """The proof under the newest checkpoint a witness saw, or else the newest; 404 while the
        entry is not sealed."""
        proven = proven_entry(pk) if provable(pk, scope_of(request.user)) else None
        payload = payload_by_id(pk) if proven else None
        if proven is None:
            raise NotFound("There is no such entry that you may read, or it is not sealed yet.")
        return Response(
            {
                "index": proven.index,
                "size": proven.checkpoint.size,
                "leaf": _text(proven.leaf),
                "root": _text(proven.checkpoint.root),
                "proof": [_text(one) for one in proven.proof],
                "payload": payload.decode() if payload else None,
                "receipt": receipt_text(proven),
            }
        )


class ConsistencyView(HistoryEndpoint):
    """Consistency of two states."""

    query = (
        OpenApiParameter("from", OpenApiTypes.INT64, required=True, description="entries then"),
        OpenApiParameter("to", OpenApiTypes.INT64, required=True, description="entries now"),
    )

    @extend_schema(responses=ConsistencySerializer)
    def get(self, request: Request) -> Response:
        """The proof's hashes, in base64."""
        scope_of(request.user)
        proof = consistency(_whole(request, "from"), _whole(request, "to"))
        return Response({"proof": [_text(one) for one in proof]})


def proven_entry(entry_id: int) -> Inclusion | None:
    """The proof that is worth most: under the newest state that a witness saw, if that has it."""
    return inclusion(entry_id, under=newest_witnessed())


def receipt_text(proven: Inclusion) -> str:
    """The receipt with the cosignatures there are, c2sp.org/tlog-proof@v1."""
    return Receipt(proven.index, tuple(proven.proof), cosigned(proven.checkpoint)).text


def provable(entry_id: int, scope: frozenset[int] | None) -> bool:
    """Whether this person may have the proof of an entry. Of an archived one it is not known here
    whose site it is about, so only who may read all may have it."""
    if visible(scope).filter(pk=entry_id).exists():
        return True
    return scope is None and archive_of(entry_id) is not None


def shown(row: Checkpoint) -> dict[str, object]:
    """A checkpoint as the API answers it."""
    return {
        "id": row.pk,
        "size": row.size,
        "root": _text(row.root),
        "note": row.note,
        "made_at": row.made_at,
    }


def _text(value: bytes | memoryview) -> str:
    return base64.b64encode(value).decode()


def _whole(request: Request, name: str, absent: int | None = None) -> int:
    if absent is not None and name not in request.query_params:
        return absent
    return whole_number(name, request.query_params.get(name, ""), most=LARGEST)
