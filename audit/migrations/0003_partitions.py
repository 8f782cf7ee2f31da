"""The history becomes a table of partitions; what it holds is the first of them."""

from django.db import migrations

from audit.retention import sql


class Migration(migrations.Migration):

    dependencies = [
        ('audit', '0002_history_checks'),
    ]

    operations = [
        migrations.RunSQL(sql.CREATE + sql.CONVERT),
    ]
