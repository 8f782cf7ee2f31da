"""The history over the API: the same questions and the same rules as its pages."""

from collections.abc import Mapping, Sequence
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.capture.devices import device_of
from audit.capture.models import Entry
from audit.reading.access import HistoryEndpoint, MatterEndpoint, Reach, reaches_of, scope_of
from audit.reading.approvals import Approval, approvals_of
from audit.reading.filters import FilterForm, whole_number
from audit.reading.pages import EFFORT, addresses, found_by, key_of, thing_page
from audit.reading.queries import PAGE, HistoryPage, page_of
from audit.registry import SignatureShown, content_of
from audit.vocabulary import words


class ContentShownSerializer(serializers.Serializer[Any]):
    """Whether what was signed still has the digest signed; `same` is null where none can tell."""

    same = serializers.BooleanField(allow_null=True)
    words = serializers.CharField()


class SignatureShownSerializer(serializers.Serializer[Any]):
    """Under whose signature: printed name, role, time, meaning, how, and the digest seen."""

    name = serializers.CharField()
    role = serializers.CharField()
    meaning = serializers.CharField()
    at = serializers.DateTimeField()
    digest = serializers.CharField()
    note = serializers.CharField()
    manner = serializers.CharField()
    proven = serializers.BooleanField(allow_null=True)
    content = serializers.SerializerMethodField()

    @extend_schema_field(ContentShownSerializer)
    def get_content(self, signed: SignatureShown) -> dict[str, Any]:
        """Whether the content still has this digest, worked out now."""
        return dict(ContentShownSerializer(content_of(signed)).data)


class ApprovedBySerializer(serializers.Serializer[Any]):
    """Whose signature: printed name, role, meaning and time."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    role = serializers.CharField()
    meaning = serializers.CharField()
    at = serializers.DateTimeField()


class ApprovalSerializer(serializers.Serializer[Any]):
    """The signature a change stands on; `words` say why there is none."""

    signature = ApprovedBySerializer(allow_null=True)
    words = serializers.CharField()


class EntrySerializer(serializers.ModelSerializer[Entry]):
    """One line of the history. `changes` is {field: [old, new]}; decimals are strings.

    From where it was asked for (`client_addr`, `request_id`) is for those who read all that
    happened at its site; others read null and an empty text.
    """

    road = serializers.CharField(source="channel")
    device = serializers.SerializerMethodField()
    action_words = serializers.SerializerMethodField()
    approval = serializers.SerializerMethodField()

    class Meta:
        """Every column."""

        model = Entry
        fields = (
            "id",
            "at",
            "actor_id",
            "actor",
            "role",
            "road",
            "db_role",
            "client_addr",
            "request_id",
            "device",
            "txid",
            "action",
            "action_words",
            "operation",
            "table_name",
            "row_id",
            "subject_type",
            "subject_id",
            "subject",
            "site_id",
            "parameter",
            "unit",
            "changes",
            "reason",
            "signature_id",
            "approval",
        )
        read_only_fields = fields

    @extend_schema_field(ApprovalSerializer(allow_null=True))
    def get_approval(self, entry: Entry) -> dict[str, Any] | None:
        """On whose approval it stands; null of what was refused."""
        approvals: Mapping[int, Approval] = self.context["approvals"]
        approval = approvals.get(entry.pk)
        return dict(ApprovalSerializer(approval).data) if approval else None

    def get_device(self, entry: Entry) -> int | None:
        """The number of the enrolled tablet it was made at, if it was at one."""
        return device_of(entry.request_id)

    def get_action_words(self, entry: Entry) -> str:
        """Plain words for the action."""
        return words(entry.action)

    def to_representation(self, entry: Entry) -> dict[str, Any]:
        """The same without where it came from, for whoever does not read all of its site."""
        told: dict[str, Any] = super().to_representation(entry)
        reaches: Sequence[Reach] = self.context["reaches"]
        if any(reach.whole and reach.holds(entry.site_id) for reach in reaches):
            return told
        return told | {"client_addr": None, "request_id": ""}


class WholeEntrySerializer(EntrySerializer):
    """One entry with its signature."""

    signature = serializers.SerializerMethodField()

    class Meta(EntrySerializer.Meta):
        """The same and the signature."""

        fields = (*EntrySerializer.Meta.fields, "signature")  # type: ignore[assignment]
        read_only_fields = fields  # type: ignore[assignment]

    @extend_schema_field(SignatureShownSerializer(allow_null=True))
    def get_signature(self, entry: Entry) -> dict[str, Any] | None:
        """The signature as it must be shown, if there is one."""
        approval: Approval | None = self.context["approvals"].get(entry.pk)
        signed = approval.signature if approval else None
        return dict(SignatureShownSerializer(signed).data) if signed else None


class EntryPageSerializer(serializers.Serializer[Any]):
    """A page of entries, newest first, and the addresses of its neighbours."""

    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = EntrySerializer(many=True)


MOST = 500

TEXT, DATE, WHOLE = OpenApiTypes.STR, OpenApiTypes.DATE, OpenApiTypes.INT64
PARAMETERS = [
    OpenApiParameter("site", WHOLE, description="entries of this site"),
    OpenApiParameter("about", TEXT, description="kind of the subject"),
    OpenApiParameter("subject", TEXT, description="its name, or with `about` its number"),
    OpenApiParameter("person", WHOLE, description="who acted"),
    OpenApiParameter("device", WHOLE, description="at which enrolled tablet"),
    OpenApiParameter("action", TEXT, description="what was done"),
    OpenApiParameter("parameter", TEXT, description="code of the parameter"),
    OpenApiParameter("outcome", TEXT, enum=["refused"], description="refused: nothing else"),
    OpenApiParameter("since", DATE, description="first day, in the site's zone, else the house's"),
    OpenApiParameter("until", DATE, description="last day, included"),
    OpenApiParameter("limit", WHOLE, description=f"entries a page, 1 to {MOST}"),
    OpenApiParameter("before", WHOLE, description="entries older than this one"),
    OpenApiParameter("after", WHOLE, description="entries newer than this one"),
]
OF_ONE_THING = {"parameter", "limit", "before", "after"}


class HistoryView(HistoryEndpoint):
    """The history, newest first."""

    query = PARAMETERS

    @extend_schema(operation_id="history_list", responses=EntryPageSerializer)
    def get(self, request: Request) -> Response:
        """One page by whatever filter; `next` leads to older entries, `previous` to newer."""
        scope = scope_of(request.user)
        query = request.query_params
        wanted = FilterForm(query, scope).wanted()
        key, size = key_of(query.dict()), _limit(query.dict())
        page = page_of(wanted, scope, before=key.before, after=key.after, size=size, effort=EFFORT)
        return _page(request, page, (Reach(scope),))


class TimelineView(MatterEndpoint):
    """What happened to one thing, newest first."""

    query = [each for each in PARAMETERS if each.name in OF_ONE_THING]

    @extend_schema(operation_id="history_of_thing", responses=EntryPageSerializer)
    def get(self, request: Request, subject_type: str, subject_id: int) -> Response:
        """One page of all of it, or of one parameter; as far as the one who asks may read it."""
        reaches, query = reaches_of(request.user), request.query_params
        size = _limit(query.dict())
        _, page = thing_page(request.user, reaches, (subject_type, subject_id), query, size)
        return _page(request, page, reaches)


class EntryView(MatterEndpoint):
    """One entry."""

    @extend_schema(responses=WholeEntrySerializer)
    def get(self, request: Request, pk: int) -> Response:
        """The entry with its signature."""
        reaches = reaches_of(request.user)
        entry, _ = found_by(request.user, reaches, pk)
        return Response(WholeEntrySerializer(entry, context=_context([entry], reaches)).data)


def _page(request: Request, page: HistoryPage, reaches: Sequence[Reach]) -> Response:
    near = addresses(request.build_absolute_uri(request.path), request.query_params, page)
    told = EntrySerializer(page.entries, many=True, context=_context(page.entries, reaches))
    return Response(
        {
            "next": near["older_url"] or None,
            "previous": near["newer_url"] or None,
            "results": told.data,
        }
    )


def _context(entries: Sequence[Entry], reaches: Sequence[Reach]) -> dict[str, object]:
    return {"approvals": approvals_of(entries), "reaches": reaches}


def _limit(query: dict[str, str]) -> int:
    allowed = f"a whole number from 1 to {MOST}"
    return whole_number("limit", query.get("limit", str(PAGE)), allowed, least=1, most=MOST)
