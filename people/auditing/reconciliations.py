"""Endpoints: reconciliations of the tables with the history."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.reconciling.actions import ask
from audit.reconciling.models import Reconciliation
from people.auditing.api import WholeHistory
from web.api import listed, person
from web.idempotency import acting
from web.lookup import one_or_404
from web.paging import KeysetPagination


class DifferenceOut(serializers.Serializer[Any]):
    """One difference: `said` by the history and what `stands` in the table, both in words."""

    kind = serializers.CharField()
    table = serializers.CharField()
    row_label = serializers.CharField(source="label")
    row = serializers.IntegerField(allow_null=True)
    column = serializers.CharField()
    said = serializers.CharField(allow_null=True)
    stands = serializers.CharField(allow_null=True)
    subject_type = serializers.CharField()
    subject_id = serializers.IntegerField(allow_null=True)
    site_id = serializers.IntegerField(allow_null=True)
    entry = serializers.IntegerField(allow_null=True)
    words = serializers.CharField()


class ReconciliationOut(serializers.ModelSerializer[Reconciliation]):
    """One reconciliation. `agrees` is null until it has ended; `counts` are by kind."""

    findings = DifferenceOut(many=True)
    counts = serializers.DictField(child=serializers.IntegerField())

    class Meta:
        """All but who runs it."""

        model = Reconciliation
        fields = (
            *("id", "asked_by_id", "asked_by", "asked_at", "state", "finished_at", "agrees"),
            *("verdict", "tables", "rows", "entries", "signatures", "counts", "findings"),
        )
        read_only_fields = fields


class Reconciliations(WholeHistory):
    """Reconciliations, the newest first."""

    pagination_class = KeysetPagination

    @extend_schema(responses=ReconciliationOut(many=True))
    def get(self, request: Request) -> Response:
        """List them."""
        return listed(self, Reconciliation.objects.all(), ReconciliationOut)

    @extend_schema(request=None, responses={201: ReconciliationOut})
    @acting
    def post(self, request: Request) -> Response:
        """Ask for one; a worker runs it. 409 while another is under way."""
        return Response(ReconciliationOut(ask(by=person(request))).data, status=201)


class OneReconciliation(WholeHistory):
    """One reconciliation."""

    @extend_schema(responses=ReconciliationOut)
    def get(self, request: Request, pk: int) -> Response:
        """What it found, once it has ended."""
        return Response(ReconciliationOut(one_or_404(Reconciliation.objects.all(), pk)).data)
