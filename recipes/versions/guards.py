"""What the database itself refuses to do to versions and formulas, whatever way was taken.

It works the content digest out itself (recipes.versions.digest_sql) and compares: no way leads to
an approved version whose signature binds to anything but its content.
"""

import pgtrigger

from audit.capture.triggers import FirmTrigger
from recipes.formula.doubts import HEAVIEST
from recipes.formula.parameters import PREINFUSION_TIME
from recipes.versions.digest_sql import DIGEST
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME, WATER
from stations.metrology.solubles import MOST_SOLUBLE

FIXED = "PL002"  # SQLSTATE of every refusal here


NEW_DRAFT = "Make a new draft: a new number is a new version."


def refuse(condition: str, message: str, hint: str = NEW_DRAFT) -> str:
    """PL/pgSQL that raises ``message`` when ``condition`` holds."""
    return (
        f"IF {condition} THEN RAISE EXCEPTION USING ERRCODE = '{FIXED}',"
        f" MESSAGE = '{message}', HINT = '{hint}'; END IF;"
    )


IDENTITY = refuse(
    """(NEW.recipe_id, NEW.number, NEW.author_id, NEW.created_at, NEW.change_request_id)
        IS DISTINCT FROM
        (OLD.recipe_id, OLD.number, OLD.author_id, OLD.created_at, OLD.change_request_id)""",
    "A version keeps its recipe, number, author and change request.",
)

TRANSITION = refuse(
    """NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN (
        ('draft', 'in_review'), ('in_review', 'draft'), ('in_review', 'approved'),
        ('approved', 'superseded'), ('draft', 'withdrawn'), ('in_review', 'withdrawn'),
        ('approved', 'withdrawn'))""",
    "A version cannot go from its state to that one.",
)


def content_kept(others: str = "") -> str:
    """PL/pgSQL that keeps what was submitted; ``others`` are conditions of the kind's own."""
    return refuse(
        f"""OLD.state <> 'draft' AND NEW.state <> 'draft' AND
        (NEW.note, NEW.content_digest, NEW.last_editor_id)
        IS DISTINCT FROM (OLD.note, OLD.content_digest, OLD.last_editor_id){others}
        OR OLD.signature_id IS NOT NULL AND NEW.signature_id IS DISTINCT FROM OLD.signature_id""",
        "What was submitted or approved never changes.",
    )


OF_LOT = """
        OR OLD.state <> 'draft' AND NEW.lot_id IS DISTINCT FROM OLD.lot_id"""


def unsealed(digest: str) -> str:
    """PL/pgSQL that holds a document to its digest, which is SQL over NEW."""
    return refuse(
        f"NEW.state <> OLD.state AND NEW.state IN ('in_review', 'approved')"
        f" AND NEW.content_digest IS DISTINCT FROM {digest}",
        "The digest is not that of the content.",
    )


def unsigned(subject: str) -> str:
    """PL/pgSQL that refuses an approval without a signature over it, as a subject of that kind."""
    return refuse(
        f"""NEW.state = 'approved' AND OLD.state <> 'approved' AND NOT EXISTS (
        SELECT 1 FROM people_signature s
        WHERE s.id = NEW.signature_id AND s.meaning = 'approved' AND s.subject_type = '{subject}'
            AND s.subject_id = NEW.id AND s.digest = NEW.content_digest)""",
        "An approval needs a signature over exactly this content.",
    )


# Four eyes. The exception is the owner's policy, and then the signature says so.
def own_work(others: str = "") -> str:
    """PL/pgSQL that refuses the signature of whose work it is; ``others`` names more of them."""
    return refuse(
        f"""NEW.state = 'approved' AND OLD.state <> 'approved' AND EXISTS (
        SELECT 1 FROM people_signature s
        WHERE s.id = NEW.signature_id
            AND (s.user_id IN (NEW.author_id, NEW.last_editor_id){others})
            AND (s.note = ''
                OR NOT EXISTS (SELECT 1 FROM people_policy p WHERE p.sole_roaster)))""",
        "Nobody approves what they drafted, last edited or requested.",
    )


WHO_ASKED = (
    " OR s.user_id = (\n                SELECT r.author_id FROM recipes_changerequest r"
    " WHERE r.id = NEW.change_request_id)"
)


# What no cup can be: the limits of recipes.formula.doubts, for whatever way was taken.
IMPOSSIBLE = refuse(
    f"""OLD.state = 'draft' AND NEW.state = 'in_review' AND EXISTS (
        SELECT 1 FROM (
            SELECT max(target) FILTER (WHERE code = '{DOSE}') AS dose,
                max(target) FILTER (WHERE code = '{WATER}') AS water,
                max(target) FILTER (WHERE code = '{BEVERAGE}') AS beverage,
                max(target) FILTER (WHERE code = '{PREINFUSION_TIME}') AS wetting,
                max(target) FILTER (WHERE code = '{SHOT_TIME}') AS whole,
                bool_or(below > target) AS below_nothing
            FROM (
                SELECT 0 AS variant, code, target, below
                FROM recipes_formulavalue WHERE version_id = NEW.id
                UNION ALL SELECT machine_type_id, code, target, below
                FROM recipes_variantvalue WHERE version_id = NEW.id) said
            GROUP BY variant) f
        WHERE f.beverage > {HEAVIEST} * f.water + {MOST_SOLUBLE} * f.dose / 100
            OR f.wetting >= f.whole OR f.below_nothing)""",
    "No cup can be what it says.",
    "Its page says which values rule each other out.",
)


def document_guards(update: str, before: str = "") -> list[pgtrigger.Trigger]:
    """Triggers that keep a document's life in order: what an update is refused for.

    ``before`` is done first of all, such as locking what is asked about.
    """
    return [
        FirmTrigger(
            name="a_guard_insert",
            operation=pgtrigger.Insert,
            when=pgtrigger.Before,
            func=refuse("NEW.state <> 'draft'", "A version begins as a draft.") + "RETURN NEW;",
        ),
        FirmTrigger(
            name="a_guard_update",
            operation=pgtrigger.Update,
            when=pgtrigger.Before,
            func=before + update + "RETURN NEW;",
        ),
        FirmTrigger(
            name="a_guard_delete",
            operation=pgtrigger.Delete,
            when=pgtrigger.Before,
            func=refuse("TRUE", "A version is never removed; withdraw it.") + "RETURN OLD;",
        ),
    ]


def version_guards() -> list[pgtrigger.Trigger]:
    """Triggers that keep a version's life in order."""
    sealed = content_kept(OF_LOT) + IMPOSSIBLE + unsealed(DIGEST)
    return document_guards(
        IDENTITY + TRANSITION + sealed + unsigned("version") + own_work(WHO_ASKED)
    )


# The share lock makes an edit and an approval of the same version wait for each other; after
# the wait the state is read again, so the later of the two sees what the earlier one did.
DRAFT_ONLY = """
    PERFORM 1 FROM {table} v WHERE v.id IN (SELECT {column} FROM {rows}) FOR SHARE;
    IF EXISTS (SELECT 1 FROM {rows} n JOIN {table} v ON v.id = n.{column}
            WHERE v.state <> 'draft') THEN
        RAISE EXCEPTION USING ERRCODE = 'PL002',
            MESSAGE = '{message}',
            HINT = 'Make a new draft: a new number is a new version.';
    END IF;
"""


def draft_only(table: str, column: str, what: str) -> list[pgtrigger.Trigger]:
    """Triggers that let rows change only while the document they are a part of is a draft."""
    message = f"{what} of a version that is not a draft never changes."
    return by_statement(
        *(
            DRAFT_ONLY.format(rows=rows, table=table, column=column, message=message)
            for rows in ("original", "changed")
        )
    )


def formula_guards() -> list[pgtrigger.Trigger]:
    """Triggers that let a formula, or a variant, change only while its version is a draft."""
    return draft_only("recipes_version", "version_id", "The formula")


def answer_guards() -> list[pgtrigger.Trigger]:
    """An answer is given to a draft: what is in review or signed has the answers it went with."""
    return [
        FirmTrigger(
            name="a_guard_insert",
            level=pgtrigger.Statement,
            operation=pgtrigger.Insert,
            when=pgtrigger.After,
            referencing=pgtrigger.Referencing(new="changed"),
            func=DRAFT_ONLY.format(
                rows="changed",
                table="recipes_version",
                column="version_id",
                message="Questions are answered while a version is a draft.",
            )
            + "RETURN NULL;",
        )
    ]


def by_statement(old: str, new: str) -> list[pgtrigger.Trigger]:
    """One trigger for each kind of statement, with what to ask of the rows before and after it."""
    wanted = [
        ("insert", pgtrigger.Insert, pgtrigger.Referencing(new="changed"), new),
        (
            "update",
            pgtrigger.Update,
            pgtrigger.Referencing(old="original", new="changed"),
            old + new,
        ),
        ("delete", pgtrigger.Delete, pgtrigger.Referencing(old="original"), old),
    ]
    return [
        FirmTrigger(
            name=f"a_guard_{name}",
            level=pgtrigger.Statement,
            operation=operation,
            when=pgtrigger.After,
            referencing=referencing,
            func=body + "RETURN NULL;",
        )
        for name, operation, referencing, body in wanted
    ]


# A name that stands in a signed version is part of what was signed.
SIGNED_NAME = """EXISTS (
    SELECT 1 FROM recipes_version v JOIN recipes_recipe r ON r.id = v.recipe_id
    WHERE v.state <> 'draft' AND v.content_digest <> '' AND {named})"""


def name_guard(columns: str, named: str) -> pgtrigger.Trigger:
    """Keeps the columns (of NEW and OLD) once a version under review or later names the row."""
    changed = " OR ".join(f"NEW.{c} IS DISTINCT FROM OLD.{c}" for c in columns.split())
    return FirmTrigger(
        name="a_guard_name",
        operation=pgtrigger.Update,
        when=pgtrigger.Before,
        func=refuse(
            f"({changed}) AND {SIGNED_NAME.format(named=named)}",
            "It stands in versions that were submitted, and stays as it is.",
            "Enter another one under the new name.",
        )
        + "RETURN NEW;",
    )
