"""The content digest as the database works it out: that of recipes.versions.digest, by test."""


def text_sql(column: str) -> str:
    """SQL for a text as RFC 8785 writes it."""
    # to_json escapes exactly what RFC 8785 asks for: the quote, the backslash and controls.
    return f"to_json({column}::text)::text"


def _number(column: str) -> str:
    return f"coalesce('\"' || {column}::text || '\"', 'null')"


_LINE = (
    f"{text_sql('f.code')} || ':{{\"above\":' || {_number('f.above')}"
    f" || ',\"below\":' || {_number('f.below')} || ',\"target\":' || {_number('f.target')}"
    f" || ',\"text\":' || {text_sql('f.text')} || '}}'"
)
_LINES = f"string_agg({_LINE}, ',' ORDER BY f.code COLLATE \"C\")"
_FORMULA = (
    f"coalesce((SELECT {_LINES} FROM recipes_formulavalue f WHERE f.version_id = NEW.id), '')"
)
# Keys are text: 10 comes before 9. Without a variant there is no such key at all.
_VARIANTS = (
    "coalesce((SELECT ',\"variants\":{' || string_agg(g.said, ',' ORDER BY g.type COLLATE \"C\")"
    " || '}' FROM (SELECT f.machine_type_id::text AS type,"
    f" '\"' || f.machine_type_id || '\":{{' || {_LINES} || '}}' AS said"
    " FROM recipes_variantvalue f WHERE f.version_id = NEW.id GROUP BY f.machine_type_id) g), '')"
)
_LOT = (
    f'coalesce(\'{{"code":\' || {text_sql("l.code")} || \',"roasted_on":"\''
    " || to_char(l.roasted_on, 'YYYY-MM-DD') || '\"}', 'null')"
)
CANONICAL = (
    f"'{{\"coffee\":' || {text_sql('c.name')} || ',\"drink\":' || {text_sql('r.drink')}"
    f" || ',\"formula\":{{' || {_FORMULA} || '}},\"lot\":' || {_LOT}"
    f" || ',\"note\":' || {text_sql('NEW.note')} || ',\"number\":' || NEW.number"
    f" || ',\"recipe\":' || NEW.recipe_id || {_VARIANTS} || '}}'"
)

DIGEST = (
    f"(SELECT encode(sha256(convert_to({CANONICAL}, 'UTF8')), 'hex')"
    " FROM recipes_recipe r JOIN recipes_coffee c ON c.id = r.coffee_id"
    " LEFT JOIN recipes_roastlot l ON l.id = NEW.lot_id WHERE r.id = NEW.recipe_id)"
)
"""SQL over NEW, a row of recipes_version: 64 hexadecimal digits."""
