"""Two versions of a recipe side by side: formulas, variants, lot and note."""

from recipes.formula.display import Row, rows, text_row
from recipes.formula.formula import Formula
from recipes.versions.complete import names_of
from recipes.versions.models import Version


def version_rows(old: Version, new: Version) -> list[Row]:
    """The formulas of two versions with those of their variants, then lot and note."""
    lots = text_row("Roast lot", _lot(old), _lot(new))
    return [*formula_rows(old, new), lots, text_row("Note", old.note, new.note)]


def formula_rows(old: Version, new: Version) -> list[Row]:
    """The whole formulas, then those of each machine type with a variant, headed by its name."""
    before, after = old.variants, new.variants
    names = names_of(before.keys() | after.keys())
    return [
        *rows(old.stated, new.stated),
        *(
            Row(**{**row, "label": f"{names.get(pk, pk)}: {row['label'].lower()}"})
            for pk in sorted(names, key=names.__getitem__)
            for row in rows(before.get(pk, Formula()), after.get(pk, Formula()))
        ),
    ]


def variants_differ(old: Version, new: Version) -> dict[str, list[str]]:
    """By machine type (id), the parameters in which the variants differ by value."""
    before, after = old.variants, new.variants
    pairs = {
        pk: before.get(pk, Formula()).differing(after.get(pk, Formula()))
        for pk in sorted(before.keys() | after.keys())
    }
    return {str(pk): sorted(codes) for pk, codes in pairs.items() if codes}


def _lot(version: Version) -> str:
    return version.lot.code if version.lot else ""
