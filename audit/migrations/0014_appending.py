"""The sealed tree grows by functions of its owner, which ask for proof of the signing key."""

from django.db import migrations, models

from audit.sealing import appending


class Migration(migrations.Migration):

    dependencies = [
        ('audit', '0013_what_is_written_down'),
    ]

    operations = [
        migrations.AddField(
            model_name='checkpoint',
            name='promise',
            field=models.BinaryField(null=True),
        ),
        migrations.RunSQL(appending.CREATE, appending.DROP),
    ]
