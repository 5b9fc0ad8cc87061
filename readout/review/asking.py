"""A DuckDB session for one question over an archive's files."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

#: What DuckDB says, as a RuntimeError, when Ctrl-C came while it answered.
_INTERRUPTED = "Query interrupted"


@contextmanager
def asking(**config: Any) -> "Iterator[duckdb.DuckDBPyConnection]":
    """A session with these settings, which draws nothing; Ctrl-C is a KeyboardInterrupt, as anywhere else."""
    import duckdb

    with duckdb.connect(config=config) as session:
        session.execute("SET enable_progress_bar = false")  # it would be drawn on stdout
        try:
            yield session
        except RuntimeError as error:
            if _INTERRUPTED in str(error):
                raise KeyboardInterrupt from error
            raise
