"""The history becomes a table of partitions; what it holds is the first of them."""

from django.db import migrations

from audit.capture import partitions


class Migration(migrations.Migration):

    dependencies = [
        ('audit', '0002_history_checks'),
    ]

    operations = [
        migrations.RunSQL(partitions.CREATE + partitions.CONVERT),
    ]
