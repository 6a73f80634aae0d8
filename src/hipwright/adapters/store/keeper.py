"""The keeper of a workspace: what ``workflows.ports.WorkspaceKeeper`` asks for, on a database."""

from __future__ import annotations

from collections.abc import Generator
from contextlib import contextmanager

from hipwright.adapters.store.job_desk import JobDesk


class DatabaseKeeper(JobDesk):
    """Rows in SQLite or PostgreSQL, files in a folder.

    One keeper serves all threads of a process; a transaction belongs to the thread
    or task that opened it.
    """

    @contextmanager
    def transaction(self, *, by: str | None = None) -> Generator[None]:
        """All or nothing; nested calls join the outer one."""
        with self.transactions.writing("cannot write to the workspace", by=by):
            yield

    def close(self) -> None:
        """Let go of the database."""
        self.transactions.engine.dispose()
