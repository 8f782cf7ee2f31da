"""Entries as the API answers them."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from audit.actions import words
from audit.models import Entry
from audit.registry import SignatureShown, content_of, registry


class ContentShownSerializer(serializers.Serializer[Any]):
    """Whether what was signed still has the digest signed; `same` is null where none can tell."""

    same = serializers.BooleanField(allow_null=True)
    words = serializers.CharField()


class SignatureShownSerializer(serializers.Serializer[Any]):
    """Under whose signature: printed name, role, time, meaning and digest of what was seen."""

    name = serializers.CharField()
    role = serializers.CharField()
    meaning = serializers.CharField()
    at = serializers.DateTimeField()
    digest = serializers.CharField()
    note = serializers.CharField()
    content = serializers.SerializerMethodField()

    @extend_schema_field(ContentShownSerializer)
    def get_content(self, signed: SignatureShown) -> dict[str, Any]:
        """Whether the content still has this digest, worked out now."""
        return dict(ContentShownSerializer(content_of(signed)).data)


class EntrySerializer(serializers.ModelSerializer[Entry]):
    """One line of the history. `changes` is {field: [old, new]}; decimals are strings."""

    action_words = serializers.SerializerMethodField()

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
        )
        read_only_fields = fields

    def get_action_words(self, entry: Entry) -> str:
        """Plain words for the action."""
        return words(entry.action)


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
        signed = registry.signature(entry.signature_id) if entry.signature_id else None
        return dict(SignatureShownSerializer(signed).data) if signed else None


class EntryPageSerializer(serializers.Serializer[Any]):
    """A page of entries, newest first, and the addresses of its neighbours."""

    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = EntrySerializer(many=True)
