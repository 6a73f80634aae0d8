"""Alembic's entry: runs the steps on the connection that ``schema`` hands over."""

from alembic import context

from hipwright.adapters.store.models import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    compare_type=True,
)
context.run_migrations()
