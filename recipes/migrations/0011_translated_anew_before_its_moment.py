from django.db import migrations

# As 0008 has it, but for what a publication has scheduled at a station that is measured anew: its
# settings are under the signature over that measurement. In place of what, and when, is the
# matter of the placements' own guard.
UNDER = """
CREATE OR REPLACE FUNCTION recipes_placement_under() RETURNS trigger AS $$
BEGIN
    IF EXISTS (
        SELECT 1 FROM (SELECT DISTINCT basis, basis_id, manner, signature_id FROM changed) n
        LEFT JOIN people_signature s ON s.id = n.signature_id
        WHERE n.manner <> 'by_hand' AND (CASE n.basis
            WHEN 'publication' THEN n.manner = 'takes_over' AND s.meaning IN ('published', 're_translated')
                AND EXISTS (SELECT 1 FROM recipes_publication d WHERE d.id = n.basis_id)
            WHEN 'permit' THEN n.manner = 'steps_in' AND s.meaning = 'permitted'
                AND EXISTS (SELECT 1 FROM recipes_permit d WHERE d.id = n.basis_id)
            WHEN 're_translation' THEN n.manner = 'renews' AND s.meaning = 're_translated'
                AND EXISTS (SELECT 1 FROM stations_calibration d WHERE d.id = n.basis_id)
            ELSE FALSE END) IS NOT TRUE
    ) THEN
        RAISE EXCEPTION USING ERRCODE = 'PL001', MESSAGE = 'A placement is under a publication,'
            ' a permit or a calibration that exists, and is signed as such.';
    END IF;
    RETURN NULL;
END;
$$ LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp;
"""
BEFORE = """
CREATE OR REPLACE FUNCTION recipes_placement_under() RETURNS trigger AS $$
BEGIN
    IF EXISTS (
        SELECT 1 FROM (SELECT DISTINCT basis, basis_id, manner, signature_id FROM changed) n
        LEFT JOIN people_signature s ON s.id = n.signature_id
        WHERE n.manner <> 'by_hand' AND (CASE n.basis
            WHEN 'publication' THEN n.manner = 'takes_over' AND s.meaning = 'published'
                AND EXISTS (SELECT 1 FROM recipes_publication d WHERE d.id = n.basis_id)
            WHEN 'permit' THEN n.manner = 'steps_in' AND s.meaning = 'permitted'
                AND EXISTS (SELECT 1 FROM recipes_permit d WHERE d.id = n.basis_id)
            WHEN 're_translation' THEN n.manner = 'renews' AND s.meaning = 're_translated'
                AND EXISTS (SELECT 1 FROM stations_calibration d WHERE d.id = n.basis_id)
            ELSE FALSE END) IS NOT TRUE
    ) THEN
        RAISE EXCEPTION USING ERRCODE = 'PL001', MESSAGE = 'A placement is under a publication,'
            ' a permit or a calibration that exists, and is signed as such.';
    END IF;
    RETURN NULL;
END;
$$ LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp;
"""


class Migration(migrations.Migration):

    dependencies = [
        ("stations", "0017_renewed_before_its_moment"),
        ("recipes", "0010_with_a_lot"),
    ]

    operations = [migrations.RunSQL(UNDER, BEFORE)]
