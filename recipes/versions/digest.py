"""The digest that a signature binds: SHA-256 over the RFC 8785 canonical JSON of a version.

    {"coffee": name, "drink": text,
     "formula": {code: {"above": width, "below": width, "target": number, "text": text}, …},
     "lot": {"code": text, "roasted_on": "2026-08-01"} or null,
     "note": text, "number": whole number, "recipe": id,
     "variants": {machine type's id: {code: …, …}, …}}

A version without variants has no such key: what was signed before there were any stays as it was.
Numbers are strings exactly as entered ("18.0" is not "18.00"), absent ones null; keys are sorted,
so that the digest does not depend on the order of the registry. The database computes the same
bytes by itself (recipes.versions.guards) and accepts no other digest.
"""

from decimal import Decimal
from hashlib import sha256
from typing import Any

import rfc8785

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import content_shown
from recipes.formula.formula import Formula
from recipes.versions.models import Version
from stations.metrology.formula import Stated


def content(version: Version) -> dict[str, Any]:
    """What a signer sees, as plain data."""
    recipe, lot, variants = version.recipe, version.lot, version.variants
    return {
        "coffee": recipe.coffee.name,
        "drink": recipe.drink,
        "formula": _lines(version.stated),
        "lot": {"code": lot.code, "roasted_on": lot.roasted_on.isoformat()} if lot else None,
        "note": version.note,
        "number": version.number,
        "recipe": recipe.pk,
        **(
            {"variants": {str(pk): _lines(each) for pk, each in variants.items()}}
            if variants
            else {}
        ),
    }


def content_digest(version: Version) -> str:
    """64 hexadecimal digits."""
    return sha256(rfc8785.dumps(content(version))).hexdigest()


def _lines(formula: Formula) -> dict[str, dict[str, str | None]]:
    return {code: _line(stated) for code, stated in formula.items()}


def _line(stated: Stated) -> dict[str, str | None]:
    numbers = {name: _plain(number) for name, number in stated.numbers.items()}
    return {**numbers, "text": stated.text}


def _plain(number: Decimal | None) -> str | None:
    return None if number is None else f"{number:f}"


# Versions: their digest is worked out anew from the formula, the lot and the recipe.


def version_content(signed: SignatureShown) -> ContentShown:
    """Of a version."""
    version = Version.objects.with_recipe().with_formula().filter(pk=signed.about_id).first()
    if version is None:
        return content_shown(["the version is gone"])
    now = content_digest(version)
    return content_shown([] if now == signed.digest else [f"it has {now[:12]}… now"])
