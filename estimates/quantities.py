"""What is priced, as columns: the rows of many options, counted from their takeoffs."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimates.house import Access, LeakKind, OptionRecord
from estimates.takeoff import Takeoff

Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]

ACCESSES = tuple(Access)
LEAK_KINDS = tuple(LeakKind)


@dataclass(frozen=True, slots=True)
class Quantities:
    """Rows of many options. `*_option` says whose a row is, from 0; areas ft2, volumes ft3, lengths ft.

    Foam comes as the volume to fill, before waste and yield; loose fill in bags by the product's own table. Shares are
    of the wall: worked from a ladder, from staging, on a steep grade (0 or 1), obstructed. `wall_lead` is 1 where the
    work is lead-safe. `option_margin` is the gross margin wanted, below 0 for that of the rates;
    `option_discount` comes off the price. [$]
    """

    options: int
    option_margin: Numbers
    option_discount: Numbers
    wall_option: Whole
    wall_net_ft2: Numbers
    wall_fill_ft3: Numbers
    wall_holes: Numbers
    wall_closing_ft: Numbers
    wall_access: Whole
    wall_ladder: Numbers
    wall_staging: Numbers
    wall_steep: Numbers
    wall_obstructed: Numbers
    wall_openings: Numbers
    wall_braced: Numbers
    wall_lead: Numbers
    attic_option: Whole
    attic_bags: Numbers
    attic_baffles: Numbers
    attic_dam_ft: Numbers
    attic_hatches: Numbers
    leak_option: Whole
    leak_quantity: Numbers
    leak_kind: Whole

    def repeated(self, times: int) -> Quantities:
        """The same rows for `times` copies of one option, numbered from 0.

        Raises
        ------
        ValueError : there is more than one option.
        """
        if self.options != 1:
            raise ValueError(f"{self.options} options; only one can be repeated")
        owners = [name for name in self.__slots__ if name.endswith("_option")]
        copies = {
            name: np.tile(getattr(self, name), times) for name in self.__slots__ if name not in ("options", *owners)
        }
        numbers = {name: np.repeat(np.arange(times), len(getattr(self, name))) for name in owners}
        columns: dict[str, Any] = copies | numbers
        return replace(self, options=times, **columns)

    def scaled_walls(self, scale: Numbers) -> Quantities:
        """The same rows with areas, volumes, holes and lengths of the walls scaled, one factor for each wall row."""
        return replace(
            self,
            wall_net_ft2=self.wall_net_ft2 * scale,
            wall_fill_ft3=self.wall_fill_ft3 * scale,
            wall_holes=self.wall_holes * scale,
            wall_closing_ft=self.wall_closing_ft * scale,
            wall_openings=self.wall_openings * scale,
        )


def quantities(
    scopes: Sequence[tuple[Takeoff, OptionRecord]], lead_safe: Sequence[Collection[str]] | None = None
) -> Quantities:
    """Columns of the priced rows of options.

    Parameters
    ----------
    scopes : a counted house and an option of it, for each option.
    lead_safe : ids of the walls that each option works lead-safe; None: none.

    Returns
    -------
    Quantities; what is stopped, and attics with nothing to add, are left out.
    """
    chosen = [takeoff.chosen(option) for takeoff, option in scopes]
    careful = [frozenset(ids) for ids in lead_safe] if lead_safe is not None else [frozenset[str]()] * len(chosen)
    walls = [(i, wall) for i, part in enumerate(chosen) for wall in part.priced_walls]
    attics = [(i, attic) for i, part in enumerate(chosen) for attic in part.priced_attics]
    leaks = [(i, leak) for i, part in enumerate(chosen) for leak in part.priced_leaks]
    return Quantities(
        options=len(chosen),
        option_margin=_numbers([-1.0 if o.target_margin is None else o.target_margin for _, o in scopes]),
        option_discount=_numbers([option.discount for _, option in scopes]),
        wall_option=_whole([i for i, _ in walls]),
        wall_net_ft2=_numbers([wall.layout.net_ft2 for _, wall in walls]),
        wall_fill_ft3=_numbers([wall.fill_ft3 for _, wall in walls]),
        wall_holes=_numbers([wall.plugs for _, wall in walls]),
        wall_closing_ft=_numbers([wall.closing_ft for _, wall in walls]),
        wall_access=_whole([ACCESSES.index(wall.wall.access) for _, wall in walls]),
        wall_ladder=_numbers([wall.ladder_share for _, wall in walls]),
        wall_staging=_numbers([wall.staging_share for _, wall in walls]),
        wall_steep=_numbers(
            [float(wall.wall.steep_grade and wall.wall.access is not Access.DRILL_INSIDE) for _, wall in walls]
        ),
        wall_obstructed=_numbers([wall.wall.obstructed_share for _, wall in walls]),
        wall_openings=_numbers([len(wall.wall.openings) for _, wall in walls]),
        wall_braced=_numbers([wall.braced_bays for _, wall in walls]),
        wall_lead=_numbers([float(wall.wall.id in careful[i]) for i, wall in walls]),
        attic_option=_whole([i for i, _ in attics]),
        attic_bags=_numbers([attic.bags for _, attic in attics]),
        attic_baffles=_numbers([attic.attic.soffit_bays for _, attic in attics]),
        attic_dam_ft=_numbers([attic.attic.dam_ft for _, attic in attics]),
        attic_hatches=_numbers([float(attic.attic.hatch_ft2 > 0) for _, attic in attics]),
        leak_option=_whole([i for i, _ in leaks]),
        leak_quantity=_numbers([leak.site.quantity for _, leak in leaks]),
        leak_kind=_whole([LEAK_KINDS.index(leak.site.kind) for _, leak in leaks]),
    )


def _whole(values: Sequence[int]) -> Whole:
    return np.array(values, dtype=np.int64)


def _numbers(values: Sequence[float]) -> Numbers:
    return np.array(values, dtype=np.float64)
