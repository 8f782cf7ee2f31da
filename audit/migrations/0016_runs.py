"""Hashes that came together stand together. What was stored one by one is a run of one: it stays."""

import django.db.models.functions.math
import django.db.models.lookups
import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations, models

import audit.capture.triggers
from audit.sealing import appending_runs


class Migration(migrations.Migration):

    dependencies = [
        ('audit', '0015_device_index'),
    ]

    operations = [
        migrations.RemoveConstraint(model_name='leaf', name='leaf_hash_is_whole'),
        migrations.RemoveConstraint(model_name='node', name='node_hash_is_whole'),
        migrations.RenameField(model_name='leaf', old_name='hash', new_name='hashes'),
        migrations.RenameField(model_name='node', old_name='hash', new_name='hashes'),
        pgtrigger.migrations.RemoveTrigger(
            model_name='archive',
            name='archive_true',
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='archive',
            trigger=pgtrigger.compiler.Trigger(name='archive_true', sql=audit.capture.triggers.FirmTriggerSql(func="\n    IF (SELECT (count(*), min(l.index + g), max(l.index + g), encode(sha256(string_agg(\n            substring(l.hashes FROM 32 * g + 1 FOR 32), ''::bytea ORDER BY l.index + g)), 'hex'))\n        FROM audit_leaf l CROSS JOIN LATERAL generate_series(0, octet_length(l.hashes) / 32 - 1) g\n        WHERE l.entry_id BETWEEN NEW.first_id - 31 AND NEW.last_id\n            AND l.entry_id + g BETWEEN NEW.first_id AND NEW.last_id)\n        IS DISTINCT FROM (NEW.entries, NEW.first_leaf, NEW.last_leaf, NEW.leaves)\n    THEN RAISE EXCEPTION 'A record in % has to say what was sealed.', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END IF;\n    RETURN NEW;\n", hash='2caf8d5a7973b92e04242ccedbff3857c8b64cb7', operation='INSERT', pgid='pgtrigger_archive_true_d9a6f', table='audit_archive', when='BEFORE')),
        ),
        migrations.AddConstraint(
            model_name='leaf',
            constraint=models.CheckConstraint(condition=models.Q(django.db.models.lookups.Exact(django.db.models.functions.math.Mod(models.Func('hashes', function='octet_length', output_field=models.IntegerField()), 32), 0), django.db.models.lookups.Range(models.Func('hashes', function='octet_length', output_field=models.IntegerField()), (32, 1024))), name='leaf_hashes_are_whole'),
        ),
        migrations.AddConstraint(
            model_name='node',
            constraint=models.CheckConstraint(condition=models.Q(django.db.models.lookups.Exact(django.db.models.functions.math.Mod(models.Func('hashes', function='octet_length', output_field=models.IntegerField()), 32), 0), django.db.models.lookups.Range(models.Func('hashes', function='octet_length', output_field=models.IntegerField()), (32, 1024))), name='node_hashes_are_whole'),
        ),
        migrations.RunSQL(appending_runs.CREATE, appending_runs.BEFORE),
    ]
