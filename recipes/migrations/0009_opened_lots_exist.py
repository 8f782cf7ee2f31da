"""A lot opened on a bar is one that the roaster entered: stations know it by its id alone."""

from django.db import migrations

ADD = """
ALTER TABLE stations_lotopening ADD CONSTRAINT lot_opening_is_of_a_lot
    FOREIGN KEY (lot_id) REFERENCES recipes_roastlot (id)
"""
DROP = "ALTER TABLE stations_lotopening DROP CONSTRAINT lot_opening_is_of_a_lot"


class Migration(migrations.Migration):
    dependencies = [
        ("recipes", "0008_what_placements_are_under"),
        ("stations", "0010_lots_on_the_bar"),
    ]
    operations = [migrations.RunSQL(ADD, DROP)]
