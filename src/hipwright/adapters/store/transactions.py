"""One transaction at a time per thread or task; nested ones are savepoints of the outer one."""

from __future__ import annotations

from collections.abc import Generator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from types import MappingProxyType

from sqlalchemy import Connection, Engine

from hipwright.adapters.store.connections import WRITES
from hipwright.adapters.store.faults import told_plainly


@dataclass(frozen=True, slots=True, kw_only=True)
class Writer:
    """An open writing transaction and who writes in it."""

    connection: Connection
    by: str


_writers: ContextVar[Mapping[int, Writer]] = ContextVar(
    "hipwright_writers", default=MappingProxyType({})
)


class Transactions:
    """Hands out connections for reading and writing.

    Parameters
    ----------
    engine
        The database.
    by
        Who writes when a transaction does not say.
    """

    def __init__(self, engine: Engine, *, by: str) -> None:
        self.engine = engine
        self.by = by

    @contextmanager
    def writing(self, what: str, *, by: str | None = None) -> Generator[Writer]:
        """Write all or nothing; ``what`` could not be done if it fails."""
        outer = _writers.get().get(id(self))
        with told_plainly(what):
            if outer is None:
                with self.engine.connect() as connection:
                    connection.execution_options(**{WRITES: True})
                    with (
                        connection.begin(),
                        self._as(Writer(connection=connection, by=by or self.by)) as writer,
                    ):
                        yield writer
            else:
                inner = replace(outer, by=by or outer.by)
                with outer.connection.begin_nested(), self._as(inner) as writer:
                    yield writer

    @contextmanager
    def reading(self, what: str) -> Generator[Connection]:
        """Read one consistent state: that of the open transaction, if there is one."""
        outer = _writers.get().get(id(self))
        with told_plainly(what):
            if outer is not None:
                yield outer.connection
            else:
                with self.engine.connect() as connection:
                    yield connection

    @contextmanager
    def _as(self, writer: Writer) -> Generator[Writer]:
        token = _writers.set({**_writers.get(), id(self): writer})
        try:
            yield writer
        finally:
            _writers.reset(token)
