"""Endpoints: what a version says to machines of one type."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.verbs import Verb
from recipes.coffees.api import RecipeView
from recipes.formula.fields import FormulaIn, shown
from recipes.formula.formula import Formula
from recipes.formula.requirements import lacking
from recipes.variants.actions import remove_variant, set_variant
from recipes.versions.api import all_versions, answer
from recipes.versions.models import Version
from recipes.versions.serializers import VersionOut
from stations.machine_types.models import MachineType
from web.api import person, valid
from web.etags import expected_revision, matching, tagged
from web.lookup import one_or_404


class VariantContent(serializers.Serializer[dict[str, Any]]):
    """All that a version says to machines of one type: a parameter left out is removed.

    An empty formula: no variant, they get the whole one or nothing.
    """

    formula = FormulaIn()


class VariantOut(VariantContent):
    """The same as read, with why the type can't hold the whole formula, nor its variant."""

    whole_lacks = serializers.ListField(child=serializers.CharField(), read_only=True)
    variant_lacks = serializers.ListField(child=serializers.CharField(), read_only=True)


class Variant(RecipeView):
    """What a version says to machines of one type."""

    acting_verb = Verb.RECIPE_DRAFT

    @extend_schema(responses=VariantOut)
    def get(self, request: Request, pk: int, machine_type: int) -> Response:
        """Read it, in the form in which PUT takes it; an empty formula where there is none."""
        version, of = _named(pk, machine_type)
        return tagged(request, version, _content(version, of))

    @extend_schema(request=VariantContent, responses=VersionOut)
    @matching
    def put(self, request: Request, pk: int, machine_type: int) -> Response:
        """Make a draft say exactly this to machines of the type; nothing removes the variant."""
        version, of = _named(pk, machine_type)
        values = valid(VariantContent, request)["formula"]
        seen: dict[str, Any] = {
            "by": person(request), "version": version, "machine_type": of,
            "revision": expected_revision(request, version),
        }  # fmt: skip
        now = set_variant(**seen, values=values) if values else remove_variant(**seen)
        return answer(request, now)


def _named(pk: int, machine_type: int) -> tuple[Version, MachineType]:
    version = one_or_404(all_versions(), pk)
    return version, one_or_404(MachineType.objects.prefetch_related("abilities"), machine_type)


def _content(version: Version, of: MachineType) -> dict[str, Any]:
    formula: Formula = version.stated_for(of.pk)
    return {
        "formula": shown(formula),
        "whole_lacks": lacking(version.stated, of),
        "variant_lacks": lacking(formula, of) if formula else [],
    }
