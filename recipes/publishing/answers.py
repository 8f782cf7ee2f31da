"""What the endpoints answer of publications: what was signed, how far it is, what was decided."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.publishing.decided import decisions
from recipes.publishing.models import Publication, PublicationSite


class PublicationSiteOut(serializers.ModelSerializer[PublicationSite]):
    """A publication's progress at one site."""

    name = serializers.CharField(source="site.name")
    refusals = serializers.JSONField(source="refused")
    begins_at = serializers.DateTimeField(
        allow_null=True, help_text="In force from; null until the site opens the lot it is with."
    )
    waits = serializers.BooleanField(help_text="Slots here wait for the site to open that lot.")
    went_out = serializers.DateTimeField(
        allow_null=True, help_text="When the first slot here came into force."
    )
    loaded = serializers.IntegerField(help_text="Slots read back, and found to hold it.")
    to_load = serializers.IntegerField(help_text="Slots in force that nobody has read back.")
    differs = serializers.IntegerField(help_text="Slots found to hold something else.")
    on_permit = serializers.IntegerField()
    taken_over = serializers.IntegerField(help_text="By something newer, since.")

    class Meta:
        model = PublicationSite
        fields = [
            "id", "site", "name", "due_at", "begins_at", "went_out", "waits", "slots", "placed",
            "cancelled", "loaded", "to_load", "differs", "on_permit", "taken_over", "refusals",
        ]  # fmt: skip


class PublicationOut(serializers.ModelSerializer[Publication]):
    """A publication: what was signed and how far it is.

    It is of a `version`, or of a `menu_version`; the other is null.
    Where you cover some of its sites, `sites` and `acknowledgement` are of those, and `scope` is
    null.
    """

    lot_label = serializers.CharField(
        source="lot.__str__", allow_null=True, default=None, help_text="The lot it is with, if any."
    )
    version_label = serializers.CharField(
        source="document.__str__", help_text="The version, or the menu's where it is of a menu."
    )
    signed_by = serializers.CharField(source="signature.name")
    signed_at = serializers.DateTimeField(source="signature.at")
    sites = PublicationSiteOut(many=True)
    scope = serializers.SerializerMethodField()
    scope_label = serializers.SerializerMethodField()
    acknowledgement = serializers.SerializerMethodField()

    class Meta:
        model = Publication
        fields = [
            "id", "version", "menu_version", "version_label", "reason", "scope", "scope_label",
            "local_date", "local_time", "lot", "lot_label", "state", "plan_digest",
            "acknowledgement", "signed_by", "signed_at", "completed_at", "sites",
        ]  # fmt: skip

    @extend_schema_field(serializers.JSONField(allow_null=True))
    def get_scope(self, publication: Publication) -> object:
        """What it was signed for."""
        return publication.scope if _whole(publication) else None

    def get_scope_label(self, publication: Publication) -> str:
        """The same in words."""
        return publication.where_words(whole=_whole(publication))

    def get_acknowledgement(self, publication: Publication) -> str:
        """What was flagged and accepted by name."""
        accepted = publication.accepted_at(_names(publication), whole=_whole(publication))
        return "\n".join(accepted)


class DecisionOut(serializers.Serializer[Any]):
    """A decision about a publication; `site` is empty where it was about all of it."""

    action = serializers.CharField(help_text="As the history names it.")
    what = serializers.CharField(source="words")
    site = serializers.CharField(allow_blank=True)
    by = serializers.CharField()
    at = serializers.DateTimeField()
    reason = serializers.CharField(allow_blank=True)


class OnePublicationOut(PublicationOut):
    """A publication by itself, with who stopped, resumed or cancelled it, and why.

    Of what was decided about one site, those are told who cover it.
    """

    decisions = serializers.SerializerMethodField()

    class Meta(PublicationOut.Meta):
        fields = [*PublicationOut.Meta.fields, "decisions"]

    @extend_schema_field(DecisionOut(many=True))
    def get_decisions(self, publication: Publication) -> list[dict[str, Any]]:
        """The newest first."""
        return list(DecisionOut(decisions(publication, _names(publication)), many=True).data)


def _names(publication: Publication) -> dict[int, str]:
    """Of a publication read `with_sites_for` somebody: the sites they see, by id."""
    return {row.site_id: str(row.site) for row in publication.sites.all()}


def _whole(publication: Publication) -> bool:
    """Of a publication read `with_sites_for` somebody: whether they see all of it."""
    return len(publication.sites.all()) == getattr(publication, "parts", None)
