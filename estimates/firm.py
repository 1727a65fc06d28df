"""Who the papers come from."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from estimates.records import BadRecord, Fault, number, read_record, text

FIRM_FILE = Path(__file__).resolve().parent.parent / "fixtures" / "firm.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirmRecord:
    """The firm as its papers name it."""

    name: str = text("Name of the firm", max_length=80, min_length=1)
    street: str = text("Street and number", max_length=120, min_length=1)
    town: str = text("Town", max_length=80, min_length=1)
    phone: str = text("Telephone", max_length=40, min_length=1)
    email: str = text("E-mail address", max_length=120, pattern=r"[^@\s]+@[^@\s]+", min_length=1)
    licence: str = text("Licence, as the state wants it printed", max_length=120, min_length=1)
    warranty: str = text("What the firm warrants, in a sentence or two", max_length=800, min_length=1)
    depositary: str = text("Bank where payments made before the work is done are kept", max_length=120, default="")
    cladding_per_ft: float = number("$/ft", "Unit price of cladding that has to be replaced", above=0, high=10_000)
    plaster_per_ft2: float = number("$/ft2", "Unit price of plaster that has to be repaired", above=0, high=10_000)

    @property
    def address(self) -> str:
        """Street and town in a line."""
        return f"{self.street}, {self.town}"

    @property
    def cladding_cents(self) -> int:
        """Unit price of cladding. [cents/ft]"""
        return int(_cents(self.cladding_per_ft))

    @property
    def plaster_cents(self) -> int:
        """Unit price of plaster. [cents/ft2]"""
        return int(_cents(self.plaster_per_ft2))


def _cents(dollars: float) -> Fraction:
    """As it was written, without binary dust: 18.35 is 1,835 cents."""
    return Fraction(repr(float(dollars))) * 100


def load_firm(path: Path = FIRM_FILE) -> FirmRecord:
    """Read the firm from its file.

    Raises
    ------
    BadRecord : no such file, not TOML, or faults in it, each with its place and what to enter.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BadRecord([Fault(path.name, "no such file; enter the firm's name, address and licence in it")]) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadRecord([Fault(path.name, f"not valid TOML: {error}")]) from None
    firm = read_record(FirmRecord, raw, path=path.stem)
    faults = [
        Fault(f"{path.stem}.{name}", f"holds {getattr(firm, name)}; enter dollars and whole cents, such as 18.50")
        for name in ("cladding_per_ft", "plaster_per_ft2")
        if _cents(getattr(firm, name)).denominator != 1
    ]
    if faults:
        raise BadRecord(faults)
    return firm
