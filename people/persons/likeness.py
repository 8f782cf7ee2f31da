"""Names that read alike, as the database tells them: the one rule, whoever writes a name.

Two names are alike if they are the same in any case (Unicode's case folding) once everything is
replaced by what it looks like (the skeleton of Unicode Technical Standard 39, section 4, over
NFKC), the case folded before that or after it: ROASTER with a Cyrillic O is roaster, and Iead with
a capital I is lead. Migrations refer to what stands here: keep it as it is.
"""

import json
from pathlib import Path

import pgtrigger

from audit.capture.triggers import REFUSED, FirmTrigger

# From Unicode's confusables.txt, version 15.1. Copyright © 1991-2023 Unicode, Inc. All rights
# reserved. Distributed under the Terms of Use in https://www.unicode.org/copyright.html.
CONFUSABLES = Path(__file__).with_name("confusables.json")

# Left out of a comparison: Default_Ignorable_Code_Point, and what shows nothing besides.
IGNORED = (
    r"[\u0001-\u001f\u007f-\u009f\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f"
    r"\u200b-\u200f\u2028-\u202e\u2060-\u206f\u2800\u3164\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufffb"
    r"\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
)
# Refused in a name: the same without what joins letters and pictures.
UNSEEN = IGNORED.replace(r"\u200b-\u200f", r"\u200b\u200e\u200f").replace(
    r"\ufe00-\ufe0f", r"\ufe00-\ufe0d"
)


def name_key_function() -> str:
    """SQL of `people_name_key(name, folded_first)`, the table of look-alikes inside."""
    table = json.dumps(json.loads(CONFUSABLES.read_text()), separators=(",", ":"))
    quoted = table.replace("'", "''")
    return f"""
CREATE FUNCTION people_name_key(name text, folded_first boolean) RETURNS text
LANGUAGE plpgsql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog, pg_temp AS $name_key$
-- What a name reads as: two with the same key are alike (people.persons.likeness).
DECLARE
    looks jsonb := '{quoted}';
    seen text := regexp_replace(normalize(name, NFKC), '{IGNORED}', '', 'g');
BEGIN
    IF folded_first THEN
        seen := casefold(seen COLLATE pg_unicode_fast);
    END IF;
    SELECT string_agg(coalesce(looks ->> sign, sign), '' ORDER BY place) INTO seen
    FROM unnest(string_to_array(normalize(seen, NFD), NULL)) WITH ORDINALITY AS signs (sign, place);
    seen := casefold(normalize(coalesce(seen, ''), NFD) COLLATE pg_unicode_fast);
    RETURN btrim(regexp_replace(seen, '\\s+', ' ', 'g'));
END $name_key$;
"""  # noqa: S608  constants


# Names of before that read like another's stay as they are, without keys, until they are changed;
# the rule holds against them all the same.
FILL = """
DO $fill$
DECLARE person record;
BEGIN
    FOR person IN SELECT id, people_name_key(name, true) AS folded,
        people_name_key(name, false) AS seen FROM people_user ORDER BY is_active DESC, id
    LOOP
        UPDATE people_user SET name_folded = person.folded, name_seen = person.seen
        WHERE id = person.id AND NOT EXISTS (
            SELECT 1 FROM people_user other
            WHERE other.name_folded = person.folded OR other.name_seen = person.seen
        );
    END LOOP;
END $fill$;
"""

KEYED = f"""
    IF TG_OP = 'UPDATE' AND NEW.name IS NOT DISTINCT FROM OLD.name THEN
        NEW.name_folded := OLD.name_folded;
        NEW.name_seen := OLD.name_seen;
        RETURN NEW;
    END IF;
    IF NEW.name ~ '{UNSEEN}' THEN
        RAISE EXCEPTION 'A name has no characters that are not seen.' USING ERRCODE = '{REFUSED}';
    END IF;
    NEW.name_folded := people_name_key(NEW.name, true);
    NEW.name_seen := people_name_key(NEW.name, false);
    IF EXISTS (
        SELECT 1 FROM people_user other
        WHERE other.id <> NEW.id AND other.name_folded IS NULL
            AND (people_name_key(other.name, true) = NEW.name_folded
                OR people_name_key(other.name, false) = NEW.name_seen)
    ) THEN
        RAISE EXCEPTION 'Somebody else has a name that reads like this one.'
            USING ERRCODE = '{REFUSED}';
    END IF;
    RETURN NEW;
"""  # noqa: S608  constants


def name_keyed() -> FirmTrigger:
    """Keeps both keys what the name makes them: whatever writes a row, it can't set them."""
    return FirmTrigger(
        name="name_keyed",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Insert | pgtrigger.Update,
        func=KEYED,
    )
