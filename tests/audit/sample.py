"""Two governed tables of the tests' own, so that capture is tried on every kind of column."""

from typing import ClassVar

from django.apps.registry import Apps
from django.db import connection, models

from audit.capture.governed import governed
from audit.capture.triggers import insert_only

OWN = Apps()  # apart from the program's models: no migration, no list of models sees these


class Shelf(models.Model):  # noqa: DJ008
    objects: ClassVar[models.Manager["Shelf"]] = models.Manager()

    name = models.CharField(max_length=40)
    site_id = models.BigIntegerField(null=True)

    class Meta:
        apps = OWN
        app_label = "sample"
        triggers = governed(subject="shelf", label="n.name", site_id="n.site_id")


class Jar(models.Model):  # noqa: DJ008
    objects: ClassVar[models.Manager["Jar"]] = models.Manager()

    shelf = models.ForeignKey(Shelf, models.CASCADE)
    name = models.CharField(max_length=40, unique=True)
    mass = models.DecimalField(max_digits=8, decimal_places=3, null=True)
    loose = models.DecimalField(max_digits=30, decimal_places=10, null=True)
    ratio = models.FloatField(null=True)
    big = models.BigIntegerField(null=True)
    full = models.BooleanField(default=False)
    details = models.JSONField(null=True)
    opened_at = models.DateTimeField(null=True)
    blob = models.BinaryField(null=True)
    secret = models.CharField(max_length=40, default="")

    class Meta:
        apps = OWN
        app_label = "sample"
        triggers = governed(
            subject="shelf",
            subject_id="n.shelf_id",
            lookup="SELECT name, site_id FROM sample_shelf s WHERE s.id = n.shelf_id",
            label="l.name || ', ' || n.name",
            site_id="l.site_id",
            parameter="'mass'",
            unit="'g'",
            exclude=("secret",),
        )


class Note(models.Model):  # noqa: DJ008
    objects: ClassVar[models.Manager["Note"]] = models.Manager()

    text = models.CharField(max_length=40)

    class Meta:
        apps = OWN
        app_label = "sample"
        triggers = [*governed(subject="note", label="n.text"), *insert_only("note")]


TABLES = "sample_jar, sample_shelf, sample_note"


def create() -> None:
    """The tables with their triggers; a cascade of the database's own from jar to shelf."""
    drop()
    with connection.schema_editor() as editor:
        for model in (Shelf, Jar, Note):
            editor.create_model(model)
    run("ALTER TABLE sample_jar ALTER COLUMN loose TYPE numeric")  # keeps the zeros it is given
    run(
        "ALTER TABLE sample_jar ADD CONSTRAINT jar_goes_with_shelf"
        " FOREIGN KEY (shelf_id) REFERENCES sample_shelf(id) ON DELETE CASCADE"
    )


def drop() -> None:
    run(f"DROP TABLE IF EXISTS {TABLES} CASCADE")


def empty() -> None:
    """Without leaving a trace: between tests that commit."""
    run(
        f"SET session_replication_role = replica; TRUNCATE {TABLES}; RESET session_replication_role"
    )


Value = str | int | bytes | list[int] | list[bytes] | None


def run(sql: str, *values: Value) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values or None)
