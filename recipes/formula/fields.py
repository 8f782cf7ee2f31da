"""A formula in the API: an object of parameters, numbers as text, units checked."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.formula.formula import TEXT, Formula
from recipes.formula.parameters import PARAMETERS
from stations.metrology.formula import Stated
from web.fields import PlainDecimal


class StatedIn(serializers.Serializer[Stated]):
    """Target and tolerances, or a text; `unit`, where given, must be the parameter's own (UCUM)."""

    target = PlainDecimal(required=False, allow_null=True, default=None)
    below = PlainDecimal(required=False, allow_null=True, default=None)
    above = PlainDecimal(required=False, allow_null=True, default=None)
    text = serializers.CharField(required=False, allow_blank=True, default="", max_length=TEXT)
    unit = serializers.CharField(required=False, allow_blank=True)

    def to_internal_value(self, data: Any) -> Any:  # noqa: ANN401
        """The entry's values. Raises ValidationError for a name that means nothing here."""
        if isinstance(data, Mapping):
            unknown = sorted(str(name) for name in data if name not in self.fields)
            if unknown:
                allowed = ", ".join(self.fields)
                raise serializers.ValidationError(
                    {unknown[0]: [f"Not known here: give {allowed}."]}
                )
        return super().to_internal_value(data)


class FormulaIn(serializers.DictField):
    """The whole formula by parameter code; exact decimals, not checked yet."""

    child = StatedIn()

    def to_internal_value(self, data: Any) -> dict[str, Stated]:  # noqa: ANN401
        """Lines with units checked. Raises ValidationError naming each fault."""
        given = super().to_internal_value(data)
        wrong = {
            code: {"unit": [f"Not the unit of {code}: give “{PARAMETERS[code].unit}”."]}
            for code, entry in given.items()
            if code in PARAMETERS
            and entry.get("unit", PARAMETERS[code].unit) != PARAMETERS[code].unit
        }
        if wrong:
            raise serializers.ValidationError(wrong)
        return {
            code: Stated(each["target"], each["below"], each["above"], each["text"])
            for code, each in given.items()
        }


class StatedOut(serializers.Serializer[dict[str, Any]]):
    """What a formula says about one parameter."""

    target = serializers.CharField(allow_null=True)
    below = serializers.CharField(allow_null=True)
    above = serializers.CharField(allow_null=True)
    text = serializers.CharField()
    unit = serializers.CharField()


@extend_schema_field(serializers.DictField(child=StatedOut()))
class FormulaOut(serializers.Field[Any, Any, dict[str, Any], Any]):
    """Stored lines as an object by parameter code, in the registry's order."""

    def __init__(self, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> dict[str, Any]:  # noqa: ANN401
        """Numbers as text, digit for digit."""
        return shown(Formula.of_rows(value.all()))


def shown(formula: Formula) -> dict[str, Any]:
    """A formula as the API answers it."""
    return {code: stated_out(code, stated) for code, stated in formula.items()}


def stated_out(code: str, stated: Stated) -> dict[str, Any]:
    """One line of it."""
    known = PARAMETERS.get(code)
    return {
        **{name: None if n is None else f"{n:f}" for name, n in stated.numbers.items()},
        "text": stated.text,
        "unit": known.unit if known else "",
    }


class MomentField(serializers.DateTimeField):
    """An instant with its offset; without one it would be read by the server's clock."""

    default_error_messages = {
        "offset": "A date and time with its offset from UTC, such as 2026-08-01T14:00:00+02:00.",
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        """As everywhere. Raises ValidationError for a time without an offset."""
        if value.tzinfo is None:
            self.fail("offset")
        return super().enforce_timezone(value)
