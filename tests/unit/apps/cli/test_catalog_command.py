"""``catalog`` for people and for programs."""

from __future__ import annotations

from hipwright.catalog import load
from tests.unit.apps.cli.workbench import document, run


def test_the_whole_catalog_is_one_document() -> None:
    found = document(run("catalog", "--json"))
    assert found["format"] == "hipwright.catalog"
    assert {item["id"] for item in found["measurements"]} == set(load().measurements)


def test_a_person_reads_every_id_name_and_definition() -> None:
    done = run("catalog")
    assert done.exit_code == 0
    text = "".join(letter for letter in done.stdout if letter.isalnum())

    def told(words: str) -> bool:  # ids and first words: the table folds the rest
        return "".join(letter for letter in words if letter.isalnum()) in text

    shelf = load()
    for landmark in shelf.landmarks.values():
        assert told(landmark.id)
    for entry in shelf.measurements.values():
        assert told(entry.name.split(",")[0].split()[0])
    for heading in ("Landmarks", "Measurements and graded readings", "Construction", "Seen"):
        assert heading in done.stdout
