"""The content digest as PostgreSQL computes it: the bytes of recipes.versions.digest, by test.

The database works the digest out itself and compares, so that no way leads to an approved
version whose signature binds to anything but its content.
"""


def _text(column: str) -> str:
    # to_json escapes exactly what RFC 8785 asks for: the quote, the backslash and controls.
    return f"to_json({column}::text)::text"


def _number(column: str) -> str:
    return f"coalesce('\"' || {column}::text || '\"', 'null')"


_LINE = (
    f"{_text('f.code')} || ':{{\"above\":' || {_number('f.above')}"
    f" || ',\"below\":' || {_number('f.below')} || ',\"target\":' || {_number('f.target')}"
    f" || ',\"text\":' || {_text('f.text')} || '}}'"
)
_FORMULA = (
    f"coalesce((SELECT string_agg({_LINE}, ',' ORDER BY f.code COLLATE \"C\")"  # noqa: S608
    " FROM recipes_formulavalue f WHERE f.version_id = NEW.id), '')"
)
_LOT = (
    f'coalesce(\'{{"code":\' || {_text("l.code")} || \',"roasted_on":"\''
    " || to_char(l.roasted_on, 'YYYY-MM-DD') || '\"}', 'null')"
)
CANONICAL = (
    f"'{{\"coffee\":' || {_text('c.name')} || ',\"drink\":' || {_text('r.drink')}"
    f" || ',\"formula\":{{' || {_FORMULA} || '}},\"lot\":' || {_LOT}"
    f" || ',\"note\":' || {_text('NEW.note')} || ',\"number\":' || NEW.number"
    " || ',\"recipe\":' || NEW.recipe_id || '}'"
)

DIGEST = (
    f"(SELECT encode(sha256(convert_to({CANONICAL}, 'UTF8')), 'hex')"  # noqa: S608 - no input
    " FROM recipes_recipe r JOIN recipes_coffee c ON c.id = r.coffee_id"
    " LEFT JOIN recipes_roastlot l ON l.id = NEW.lot_id WHERE r.id = NEW.recipe_id)"
)
"""SQL over NEW, a row of recipes_version: 64 hexadecimal digits."""
