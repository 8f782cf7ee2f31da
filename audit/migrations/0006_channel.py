"""The field is called channel now, its column and its name in sealed entries stay as they are."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

CHANNELS = [
    ("page", "page"),
    ("api", "API"),
    ("gateway", "gateway"),
    ("task", "task"),
    ("console", "console"),
    ("database", "database"),
]


class Migration(migrations.Migration):
    """No row is read or written: entries from before are not looked at again."""

    dependencies = [("audit", "0005_known_states")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameField("entry", "road", "channel"),
                migrations.AlterField(
                    "entry",
                    "channel",
                    models.TextField(choices=CHANNELS, db_column="road", db_default="database"),
                ),
            ],
        ),
        AddConstraintNotValid(
            "entry",
            models.CheckConstraint(
                condition=models.Q(("channel__in", [name for name, _ in CHANNELS])),
                name="entry_channel_known",
            ),
        ),
    ]
