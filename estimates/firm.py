"""Who the papers come from."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from estimates.records import BadRecord, Fault, read_record, text

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
    return read_record(FirmRecord, raw, path=path.stem)
