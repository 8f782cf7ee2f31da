"""A set of abilities is called a machine type; what it was called stays in the history."""

import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations, models

import audit.capture.triggers


class Migration(migrations.Migration):

    dependencies = [
        ('stations', '0004_locked_throughout'),
    ]

    operations = [
        # Before the tables have other names: a trigger is dropped from the table it names.
        pgtrigger.migrations.RemoveTrigger(
            model_name='ability',
            name='history_created',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='ability',
            name='history_changed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='ability',
            name='history_removed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='machine',
            name='history_created',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='machine',
            name='history_changed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='machine',
            name='history_removed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='abilityset',
            name='history_created',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='abilityset',
            name='history_changed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='abilityset',
            name='history_removed',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='abilityset',
            name='history_whole',
        ),
        migrations.RemoveConstraint(
            model_name='ability',
            name='ability_once_per_parameter',
        ),
        migrations.RenameModel('AbilitySet', 'MachineType'),
        migrations.RenameField('Ability', 'ability_set', 'machine_type'),
        migrations.RenameField('Machine', 'abilities', 'machine_type'),
        migrations.RunSQL(
            'ALTER TABLE stations_machinetype'
            ' RENAME CONSTRAINT stations_abilityset_name_key TO stations_machinetype_name_key',
            'ALTER TABLE stations_machinetype'
            ' RENAME CONSTRAINT stations_machinetype_name_key TO stations_abilityset_name_key',
        ),
        migrations.AlterModelOptions(
            name='ability',
            options={'ordering': ['machine_type', 'parameter']},
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='ability',
            trigger=pgtrigger.compiler.Trigger(name='history_created', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'created\', \'stations_ability\', n."id", \'machine type\', (n.machine_type_id), coalesce((\'\')::text, \'\'), (NULL), (n.parameter), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."machine_type_id" IS NOT NULL THEN \'"machine_type_id":[null,\' || to_json(n."machine_type_id")::text || \']\' END, CASE WHEN n."parameter" IS NOT NULL THEN \'"parameter":[null,\' || to_json(n."parameter")::text || \']\' END, CASE WHEN n."minimum" IS NOT NULL THEN \'"minimum":[null,\' || \'"\' || n."minimum"::text || \'"\' || \']\' END, CASE WHEN n."maximum" IS NOT NULL THEN \'"maximum":[null,\' || \'"\' || n."maximum"::text || \'"\' || \']\' END, CASE WHEN n."resolution" IS NOT NULL THEN \'"resolution":[null,\' || \'"\' || n."resolution"::text || \'"\' || \']\' END) || \'}\')::jsonb FROM new_rows n; RETURN NULL;', hash='0f07030985dcf4cb004ecd7ec08a8577ce7b08d3', level='STATEMENT', operation='INSERT', pgid='pgtrigger_history_created_a1d07', referencing='REFERENCING NEW TABLE AS new_rows ', table='stations_ability', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='ability',
            trigger=pgtrigger.compiler.Trigger(name='history_changed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'changed\', \'stations_ability\', CASE WHEN o."id" = n."id" THEN n."id" ELSE audit_key_moved(\'stations_ability\') END, \'machine type\', (n.machine_type_id), coalesce((\'\')::text, \'\'), (NULL), (n.parameter), coalesce((NULL)::text, \'\'), JSON_OBJECT(\'machine_type_id\': CASE WHEN o."machine_type_id" IS DISTINCT FROM n."machine_type_id" THEN jsonb_build_array(o."machine_type_id", n."machine_type_id") END, \'parameter\': CASE WHEN o."parameter" IS DISTINCT FROM n."parameter" THEN jsonb_build_array(o."parameter", n."parameter") END, \'minimum\': CASE WHEN o."minimum" IS DISTINCT FROM n."minimum" THEN jsonb_build_array(o."minimum"::text, n."minimum"::text) END, \'maximum\': CASE WHEN o."maximum" IS DISTINCT FROM n."maximum" THEN jsonb_build_array(o."maximum"::text, n."maximum"::text) END, \'resolution\': CASE WHEN o."resolution" IS DISTINCT FROM n."resolution" THEN jsonb_build_array(o."resolution"::text, n."resolution"::text) END ABSENT ON NULL RETURNING jsonb) FROM old_rows o FULL JOIN new_rows n ON o."id" = n."id" WHERE o."machine_type_id" IS DISTINCT FROM n."machine_type_id" OR o."parameter" IS DISTINCT FROM n."parameter" OR o."minimum" IS DISTINCT FROM n."minimum" OR o."maximum" IS DISTINCT FROM n."maximum" OR o."resolution" IS DISTINCT FROM n."resolution" OR o."id" IS DISTINCT FROM n."id"; RETURN NULL;', hash='d79bdf025e1b1073fd58ece23668df01f5a51444', level='STATEMENT', operation='UPDATE', pgid='pgtrigger_history_changed_47951', referencing='REFERENCING OLD TABLE AS old_rows  NEW TABLE AS new_rows ', table='stations_ability', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='ability',
            trigger=pgtrigger.compiler.Trigger(name='history_removed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'removed\', \'stations_ability\', n."id", \'machine type\', (n.machine_type_id), coalesce((\'\')::text, \'\'), (NULL), (n.parameter), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."machine_type_id" IS NOT NULL THEN \'"machine_type_id":[\' || to_json(n."machine_type_id")::text || \',null]\' END, CASE WHEN n."parameter" IS NOT NULL THEN \'"parameter":[\' || to_json(n."parameter")::text || \',null]\' END, CASE WHEN n."minimum" IS NOT NULL THEN \'"minimum":[\' || \'"\' || n."minimum"::text || \'"\' || \',null]\' END, CASE WHEN n."maximum" IS NOT NULL THEN \'"maximum":[\' || \'"\' || n."maximum"::text || \'"\' || \',null]\' END, CASE WHEN n."resolution" IS NOT NULL THEN \'"resolution":[\' || \'"\' || n."resolution"::text || \'"\' || \',null]\' END) || \'}\')::jsonb FROM old_rows n; RETURN NULL;', hash='3050b0b403e3208625a01aaac16c0420c6b87a25', level='STATEMENT', operation='DELETE', pgid='pgtrigger_history_removed_b33b9', referencing='REFERENCING OLD TABLE AS old_rows ', table='stations_ability', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machine',
            trigger=pgtrigger.compiler.Trigger(name='history_created', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'created\', \'stations_machine\', n."id", \'machine\', (n.id), coalesce((n.name)::text, \'\'), (n.site_id), (NULL), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."site_id" IS NOT NULL THEN \'"site_id":[null,\' || to_json(n."site_id")::text || \']\' END, CASE WHEN n."name" IS NOT NULL THEN \'"name":[null,\' || to_json(n."name")::text || \']\' END, CASE WHEN n."machine_type_id" IS NOT NULL THEN \'"machine_type_id":[null,\' || to_json(n."machine_type_id")::text || \']\' END) || \'}\')::jsonb FROM new_rows n; RETURN NULL;', hash='076a36bad37e8a31473de91b9c8134e0989e41de', level='STATEMENT', operation='INSERT', pgid='pgtrigger_history_created_0f09d', referencing='REFERENCING NEW TABLE AS new_rows ', table='stations_machine', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machine',
            trigger=pgtrigger.compiler.Trigger(name='history_changed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'changed\', \'stations_machine\', CASE WHEN o."id" = n."id" THEN n."id" ELSE audit_key_moved(\'stations_machine\') END, \'machine\', (n.id), coalesce((n.name)::text, \'\'), (n.site_id), (NULL), coalesce((NULL)::text, \'\'), JSON_OBJECT(\'site_id\': CASE WHEN o."site_id" IS DISTINCT FROM n."site_id" THEN jsonb_build_array(o."site_id", n."site_id") END, \'name\': CASE WHEN o."name" IS DISTINCT FROM n."name" THEN jsonb_build_array(o."name", n."name") END, \'machine_type_id\': CASE WHEN o."machine_type_id" IS DISTINCT FROM n."machine_type_id" THEN jsonb_build_array(o."machine_type_id", n."machine_type_id") END ABSENT ON NULL RETURNING jsonb) FROM old_rows o FULL JOIN new_rows n ON o."id" = n."id" WHERE o."site_id" IS DISTINCT FROM n."site_id" OR o."name" IS DISTINCT FROM n."name" OR o."machine_type_id" IS DISTINCT FROM n."machine_type_id" OR o."id" IS DISTINCT FROM n."id"; RETURN NULL;', hash='02e7f7708d3795c89b944a264fcb593cadb4052d', level='STATEMENT', operation='UPDATE', pgid='pgtrigger_history_changed_49a77', referencing='REFERENCING OLD TABLE AS old_rows  NEW TABLE AS new_rows ', table='stations_machine', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machine',
            trigger=pgtrigger.compiler.Trigger(name='history_removed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'removed\', \'stations_machine\', n."id", \'machine\', (n.id), coalesce((n.name)::text, \'\'), (n.site_id), (NULL), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."site_id" IS NOT NULL THEN \'"site_id":[\' || to_json(n."site_id")::text || \',null]\' END, CASE WHEN n."name" IS NOT NULL THEN \'"name":[\' || to_json(n."name")::text || \',null]\' END, CASE WHEN n."machine_type_id" IS NOT NULL THEN \'"machine_type_id":[\' || to_json(n."machine_type_id")::text || \',null]\' END) || \'}\')::jsonb FROM old_rows n; RETURN NULL;', hash='66212c823376917e19acf84e204c1d895d4eb924', level='STATEMENT', operation='DELETE', pgid='pgtrigger_history_removed_cc52d', referencing='REFERENCING OLD TABLE AS old_rows ', table='stations_machine', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machinetype',
            trigger=pgtrigger.compiler.Trigger(name='history_created', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'created\', \'stations_machinetype\', n."id", \'machine type\', (n.id), coalesce((n.name)::text, \'\'), (NULL), (NULL), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."name" IS NOT NULL THEN \'"name":[null,\' || to_json(n."name")::text || \']\' END, CASE WHEN n."ends_by" IS NOT NULL THEN \'"ends_by":[null,\' || to_json(n."ends_by")::text || \']\' END) || \'}\')::jsonb FROM new_rows n; RETURN NULL;', hash='8c01741fab3614076b4a6e14de2274e23a4b8a28', level='STATEMENT', operation='INSERT', pgid='pgtrigger_history_created_9fcd7', referencing='REFERENCING NEW TABLE AS new_rows ', table='stations_machinetype', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machinetype',
            trigger=pgtrigger.compiler.Trigger(name='history_changed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'changed\', \'stations_machinetype\', CASE WHEN o."id" = n."id" THEN n."id" ELSE audit_key_moved(\'stations_machinetype\') END, \'machine type\', (n.id), coalesce((n.name)::text, \'\'), (NULL), (NULL), coalesce((NULL)::text, \'\'), JSON_OBJECT(\'name\': CASE WHEN o."name" IS DISTINCT FROM n."name" THEN jsonb_build_array(o."name", n."name") END, \'ends_by\': CASE WHEN o."ends_by" IS DISTINCT FROM n."ends_by" THEN jsonb_build_array(o."ends_by", n."ends_by") END ABSENT ON NULL RETURNING jsonb) FROM old_rows o FULL JOIN new_rows n ON o."id" = n."id" WHERE o."name" IS DISTINCT FROM n."name" OR o."ends_by" IS DISTINCT FROM n."ends_by" OR o."id" IS DISTINCT FROM n."id"; RETURN NULL;', hash='879c94970600c63e03926cd2830292d6e0257320', level='STATEMENT', operation='UPDATE', pgid='pgtrigger_history_changed_61f19', referencing='REFERENCING OLD TABLE AS old_rows  NEW TABLE AS new_rows ', table='stations_machinetype', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machinetype',
            trigger=pgtrigger.compiler.Trigger(name='history_removed', sql=audit.capture.triggers.FirmTriggerSql(declare='DECLARE c record;', func='SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry (actor_id, actor, role, road, client_addr, request_id, action, reason, signature_id, operation, table_name, row_id, subject_type, subject_id, subject, site_id, parameter, unit, changes) SELECT c.actor_id, c.actor, c.role, c.road, c.client_addr, c.request_id, c.action, c.reason, c.signature_id, \'removed\', \'stations_machinetype\', n."id", \'machine type\', (n.id), coalesce((n.name)::text, \'\'), (NULL), (NULL), coalesce((NULL)::text, \'\'), (\'{\' || concat_ws(\',\', CASE WHEN n."name" IS NOT NULL THEN \'"name":[\' || to_json(n."name")::text || \',null]\' END, CASE WHEN n."ends_by" IS NOT NULL THEN \'"ends_by":[\' || to_json(n."ends_by")::text || \',null]\' END) || \'}\')::jsonb FROM old_rows n; RETURN NULL;', hash='4432dc885139bc6bf22f30dcadfd13bc42261452', level='STATEMENT', operation='DELETE', pgid='pgtrigger_history_removed_1832a', referencing='REFERENCING OLD TABLE AS old_rows ', table='stations_machinetype', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='machinetype',
            trigger=pgtrigger.compiler.Trigger(name='history_whole', sql=audit.capture.triggers.FirmTriggerSql(func="RAISE EXCEPTION '% can''t be emptied: its rows are governed.', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';", hash='092e2bf22936229792f231eb94cfade8aebefe26', level='STATEMENT', operation='TRUNCATE', pgid='pgtrigger_history_whole_80962', table='stations_machinetype', when='BEFORE')),
        ),
        migrations.AddConstraint(
            model_name='ability',
            constraint=models.UniqueConstraint(fields=('machine_type', 'parameter'), name='ability_once_per_parameter'),
        ),
    ]
