"""A database that an earlier Portaledger made, brought to the newest state: nothing of it is lost.

`before.sql.xz` is what `pg_dump --data-only --load-via-partition-root` gave of the demo of a
version from before packages by feature, and `migrations.txt` the migrations that it had. All of
it is invented. A migration that renames, splits or fills a table says so in `test_rows.py`.
"""
