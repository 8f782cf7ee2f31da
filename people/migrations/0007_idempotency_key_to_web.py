"""The table of answers kept for repeated requests is web's from now on (web.0001); it stays."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('people', '0006_signed_out'),
        ('web', '0001_initial'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[migrations.DeleteModel(name='IdempotencyKey')],
        ),
    ]
