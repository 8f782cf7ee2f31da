"""Endpoints: checks of the whole history.

They need what lies above audit: the verb that allows it, and answers that are given once.
"""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.checking.actions import LONGEST, start_check
from audit.checking.models import HistoryCheck
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb
from web.access import noting_refusal
from web.api import GuardedView, Listing, listed, person, valid
from web.idempotency import acting
from web.lookup import one_or_404


class CheckIn(serializers.Serializer[Any]):
    """What to compare with: a checkpoint kept outside, a signing key written down."""

    since = serializers.CharField(
        required=False, allow_blank=True, max_length=LONGEST, trim_whitespace=False
    )
    key = serializers.CharField(required=False, allow_blank=True, max_length=300)


class FindingOut(serializers.Serializer[Any]):
    """One thing found; `entries` are ids of the first entries it is about that are there."""

    kind = serializers.CharField()
    words = serializers.CharField()
    entries = serializers.ListField(child=serializers.IntegerField())


class CheckOut(serializers.ModelSerializer[HistoryCheck]):
    """One check. `intact` is null until it has ended; `counts` are findings by kind."""

    findings = FindingOut(many=True)
    counts = serializers.DictField(child=serializers.IntegerField())

    class Meta:
        """All but who runs it."""

        model = HistoryCheck
        fields = (
            *("id", "asked_by_id", "asked_by", "asked_at", "since", "key", "state", "checked"),
            *("size", "newest", "newest_at", "finished_at", "intact", "verdict", "entries"),
            *("left_out", "proven", "checkpoints", "counts", "findings"),
        )
        read_only_fields = fields


class WholeHistory(GuardedView):
    """For those who read the history of every site, whatever the method."""

    verb = Verb.HISTORY_VIEW
    acting_everywhere = True

    def check_permissions(self, request: Request) -> None:
        """Reading takes the whole as well. Raises NotPermitted."""
        super().check_permissions(request)
        with noting_refusal(request):
            require_everywhere(person(request), self.verb)


class HistoryChecks(WholeHistory, Listing):
    """Checks of the history, the newest first."""

    @extend_schema(responses=CheckOut(many=True))
    def get(self, request: Request) -> Response:
        """List them."""
        return listed(self, HistoryCheck.objects.all(), CheckOut)

    @extend_schema(request=CheckIn, responses={201: CheckOut})
    @acting
    def post(self, request: Request) -> Response:
        """Ask for one; a worker runs it. 409 while another is under way."""
        made = start_check(by=person(request), **valid(CheckIn, request))
        return Response(CheckOut(made).data, status=201)


class OneCheck(WholeHistory):
    """One check."""

    @extend_schema(responses=CheckOut)
    def get(self, request: Request, pk: int) -> Response:
        """How far it is, or what it found."""
        return Response(CheckOut(one_or_404(HistoryCheck.objects.all(), pk)).data)
