"""The findings in a few sentences, for the clinic letter."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from hipwright.catalog import Catalog
from hipwright.catalog.headlines import headlines
from hipwright.domain.measurement import Finding, Measurement, Unit
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit


def findings_sentence(
    where: str, side: object, findings: Iterable[Finding], catalog: Catalog
) -> str:
    """One film's findings of one hip as a sentence or two.

    Parameters
    ----------
    where
        The film in words, such as ``AP pelvis, supine, at 26.4 years, read by AB``.
    side
        The hip; the midline's findings are told as well.
    findings
        What was measured on that film.
    catalog
        For the constructions' names and sources.
    """
    own = {
        found.definition: found
        for found in findings
        if isinstance(found, Measurement) and found.side in (side, None)
    }
    chosen = [own[key] for key in headlines() if key in own] or list(own.values())
    told = "; ".join(_clause(found, catalog) for found in chosen)
    return f"{where}: {told}." if told else f"{where}: nothing was measured."


def _clause(found: Measurement, catalog: Catalog) -> str:
    clause = f"{lower_first(found.name)} {value_with_unit(found)}"
    level = f"{100 * found.estimate.level:g} % interval"
    unit = "" if found.unit is Unit.CLOCK_HOUR else found.unit.label
    clause += f" ({level} {interval_in_words(found)}{unit})"
    if found.classification is not None:
        seen = catalog.reference(found.classification.reference.id).seen.value
        clause += f", {found.classification.in_words()} by {found.classification.scheme}"
        clause += f" [{seen}]"
    if found.quality_warning:
        clause += f" ({found.quality_warning})"
    return clause


def lower_first(name: str) -> str:
    """A name inside a sentence: its first letter small, unless the word is a name or initials."""
    word = name.split(maxsplit=1)[0].strip(",")
    is_name = word[1:] != word[1:].lower() or word in {"Sharp", "Shenton", "Tönnis"}
    return name if is_name else name[0].lower() + name[1:]


def baselines(findings: Iterable[Finding]) -> list[str]:
    """The different baselines that were used, each once."""
    used = [f.baseline for f in findings if isinstance(f, Measurement) and f.baseline]
    return [key for key, _ in groupby(sorted(used))]
