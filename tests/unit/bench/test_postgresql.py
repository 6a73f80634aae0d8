"""The PostgreSQL server that tests may ask for."""

import sqlalchemy
from sqlalchemy.pool import NullPool


def test_each_test_has_an_empty_database_that_works(postgresql_url: str) -> None:
    engine = sqlalchemy.create_engine(postgresql_url, poolclass=NullPool)
    with engine.begin() as connection:
        assert sqlalchemy.inspect(connection).get_table_names() == []
        connection.execute(sqlalchemy.text("CREATE TABLE hip (side text)"))
        connection.execute(sqlalchemy.text("INSERT INTO hip VALUES ('left')"))
        assert connection.scalar(sqlalchemy.text("SELECT side FROM hip")) == "left"
