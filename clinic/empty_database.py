"""The tables of an empty database, made at once instead of by the whole history of migrations.

Django makes its state of all models anew at each step of the history, which takes longer than
everything the database does; of an empty database only the end of the history matters. What a
migration does that the state of the models does not tell of, rows that it writes say, is not done
here: tests/clinic/test_empty_database.py holds both ways to the same tables and the same rows.
"""

from collections.abc import Sequence

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder


def is_empty(database: BaseDatabaseWrapper) -> bool:
    """Return whether there is no table, or only that of the applied migrations without a row."""
    recorder = MigrationRecorder(database)
    tables = set(database.introspection.table_names())
    return tables <= {recorder.Migration._meta.db_table} and not recorder.applied_migrations()


def history(database: BaseDatabaseWrapper) -> list[Migration]:
    """Return all migrations that the database lacks, in the order in which Django applies them."""
    executor = MigrationExecutor(database)
    return [one for one, _ in executor.migration_plan(executor.loader.graph.leaf_nodes())]


def make_tables(database: BaseDatabaseWrapper, migrations: Sequence[Migration]) -> None:
    """Make the tables as they are after the last of the migrations, and record all as applied.

    `migrations`: of the history, with all that they depend on. In one transaction, so that a start
    that is cut off leaves the database empty. The columns stand in the order in which the
    migrations added them.
    """
    executor = MigrationExecutor(database)
    state = executor.loader.project_state([(one.app_label, one.name) for one in migrations])
    executor.recorder.ensure_schema()
    with database.schema_editor() as editor:
        for name in state.models:  # not those of apps without migrations, which Django makes itself
            model = state.apps.get_model(*name)
            if model._meta.can_migrate(database):
                editor.create_model(model)
        for one in migrations:
            executor.record_migration(one)  # type: ignore[call-arg, arg-type]  # the stubs err
