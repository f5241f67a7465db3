"""The tables of an empty database, made at once instead of by the whole history of migrations.

Django makes its state of all models anew at each step of the history, which takes longer than
everything the database does; of an empty database only the end of the history matters. What a
migration does that the state of the models does not tell of, rows that it writes say, is not done
here: tests/clinic/test_empty_database.py holds both ways to the same tables and the same rows.
"""

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder


def is_empty(database: BaseDatabaseWrapper) -> bool:
    """Return whether there is no table, or only that of the applied migrations without a row."""
    recorder = MigrationRecorder(database)
    tables = set(database.introspection.table_names())
    return tables <= {recorder.Migration._meta.db_table} and not recorder.applied_migrations()


def make_tables(database: BaseDatabaseWrapper) -> None:
    """Make the tables as they are after the last migration, and put all on record as applied.

    All in one transaction, so that a start that is cut off leaves the database empty. The columns
    stand in the order in which the migrations added them.
    """
    executor = MigrationExecutor(database)
    last = executor.loader.graph.leaf_nodes()
    state = executor.loader.project_state(last)
    executor.recorder.ensure_schema()
    with database.schema_editor() as editor:
        for name in state.models:  # not those of apps without migrations, which Django makes itself
            model = state.apps.get_model(*name)
            if model._meta.can_migrate(database):
                editor.create_model(model)
        for migration, _backwards in executor.migration_plan(last):
            executor.record_migration(migration)  # type: ignore[call-arg, arg-type]  # stubs err
