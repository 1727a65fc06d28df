"""What was usual when a house was built: a beginning for quick entry, shown with its mark and always overridden."""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from estimates.house import Access, Cladding, Framing, InsideFinish, Sheathing
from estimates.records import BadRecord, Fault, choice, code, flag, many, number, read_record, text, whole

SCHEMA = "cavitybook/eras/1"

TABLE = Path(__file__).resolve().parent.parent / "fixtures" / "eras.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class EraRecord:
    """What was usual from a year on."""

    id: str = code("Short name")
    built_from: int = whole("First year", low=1600, high=2100)
    words: str = text("The same in words, as the page shows it", min_length=1, max_length=200)
    framing: Framing = choice(Framing, "Platform or balloon")  # noqa: RUF009 (declares the field, makes no value)
    storey_height_ft: float = number("ft", "Height of a storey's wall, plates included", above=2, high=20)
    spacing_in: float = number("in", "Stud spacing, centre to centre", low=4, high=96)
    depth_in: float = number("in", "Stud depth", low=0.5, high=24)
    window_share: float = number("", "Share of the wall that is windows and doors", low=0, high=0.7)
    framing_share: float = number("", "Share of the rest that is framing", low=0, high=0.6)
    cladding: Cladding = choice(Cladding, "Outside finish")  # noqa: RUF009
    sheathing: Sheathing = choice(Sheathing, "Between studs and cladding")  # noqa: RUF009
    inside: InsideFinish = choice(InsideFinish, "Between studs and room")  # noqa: RUF009
    access: Access = choice(Access, "How the crew reaches the cavity")  # noqa: RUF009
    look_for_fill: bool = flag("Old insulation may be in the walls: probe before promising", default=False)
    mark: str = text("Where the figures come from", min_length=1, max_length=200)


@dataclass(frozen=True, slots=True, kw_only=True)
class EraTable:
    """Every era, oldest first."""

    schema: str = text(f"Version of this form: {SCHEMA}", pattern=SCHEMA)
    eras: tuple[EraRecord, ...] = many(EraRecord, "Eras, oldest first", min_items=1)


@lru_cache(maxsize=4)
def load_eras(path: Path = TABLE) -> EraTable:
    """Read the table of eras.

    Raises
    ------
    BadRecord : not TOML, faults in it, or years that do not rise; each with its path and what to enter.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadRecord([Fault(path.name, f"not valid TOML: {error}")]) from None
    table = read_record(EraTable, raw, path=path.stem)
    years = [era.built_from for era in table.eras]
    faults = [
        Fault(f"{path.stem}.eras[{place}].built_from", f"{year} is not after {before}; enter the eras oldest first")
        for place, (before, year) in enumerate(itertools.pairwise(years), start=1)
        if year <= before
    ]
    if faults:
        raise BadRecord(faults)
    return table


def era_of(year: int) -> EraRecord:
    """Return the era of a year; the oldest one for anything before the table begins.

    Examples
    --------
    >>> era_of(1926).id, era_of(1971).cladding.value, era_of(1500).id
    ('1900-1929', 'plywood_siding', 'before-1900')
    """
    eras = load_eras().eras
    return next((era for era in reversed(eras) if era.built_from <= year), eras[0])
