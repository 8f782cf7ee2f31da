from django.db import migrations

FORGET = """
DELETE FROM account_emailconfirmation;
DELETE FROM account_emailaddress;
"""


class Migration(migrations.Migration):
    """Addresses that links to set a password left behind: by them, people could still sign in."""

    dependencies = [
        ("people", "0003_signed_content"),
        ("account", "0009_emailaddress_unique_primary_email"),
    ]

    operations = [migrations.RunSQL(FORGET, migrations.RunSQL.noop)]
