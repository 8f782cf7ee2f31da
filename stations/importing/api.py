"""Endpoint: equipment from one file."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from stations.importing.actions import import_equipment, report_of
from stations.importing.file import invalid
from stations.importing.plan import plan_import
from web.api import GuardedView, person, valid
from web.idempotency import acting


class ImportIn(serializers.Serializer[dict[str, Any]]):
    """A CSV file as text; with ``preview`` nothing is written."""

    csv = serializers.CharField(max_length=4_000_000, trim_whitespace=False)
    preview = serializers.BooleanField(default=False)


class ImportOut(serializers.Serializer[dict[str, Any]]):
    """What a file adds, and how many of its stations are there already."""

    sites = serializers.IntegerField()
    machines = serializers.IntegerField()
    stations = serializers.IntegerField()
    slots = serializers.IntegerField()
    unchanged = serializers.IntegerField()


class Import(GuardedView):
    """Equipment from one file."""

    verb = Verb.EQUIPMENT_IMPORT

    @extend_schema(request=ImportIn, responses=ImportOut)
    @acting
    def post(self, request: Request) -> Response:
        """Add all of a CSV file, or with `preview` say what it would add."""
        body = valid(ImportIn, request)
        if not body["preview"]:
            report = import_equipment(by=person(request), text=body["csv"])
            return Response(_shown(asdict(report)))
        plan = plan_import(body["csv"], person(request))
        if plan.faults:
            raise invalid(plan.faults)
        return Response(_shown(asdict(report_of(plan))))


def _shown(counts: dict[str, Any]) -> dict[str, Any]:
    return dict(ImportOut(counts).data)
