"""The answers kept for repeated requests, which people had: the state alone moves, the table stays."""

import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('people', '0006_signed_out'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name='IdempotencyKey',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('key', models.CharField(max_length=100)),
                        ('request_digest', models.CharField(max_length=64, verbose_name='SHA-256 of method, path and body')),
                        ('status', models.PositiveSmallIntegerField()),
                        ('body', models.TextField()),
                        ('headers', models.JSONField(default=dict)),
                        ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), db_index=True)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'db_table': 'people_idempotencykey',
                        'constraints': [models.UniqueConstraint(fields=('user', 'key'), name='idempotency_key_once')],
                    },
                ),
            ],
        ),
    ]
