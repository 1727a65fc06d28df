"""A wall as the crew found it: kept as a whole, laid out anew, its bays added, retired and made doubtful."""

from __future__ import annotations

from dataclasses import replace

from estimates.house import AsFoundRecord
from estimates.physics.asfound import SAME_STUD_IN
from estimates.physics.framing import Bay as LaidOut
from estimates.physics.framing import WallLayout
from estimates.physics.validity import OutOfRange
from estimates.records import read_record, write_record
from jobs.entry_records import FoundRecord
from jobs.found_walls import layout_of
from jobs.installation import Effect, Said, fault
from jobs.models import Bay, BayState, CrewEntry, EntryKind, JobWall

MORE_FOAM = 0.10
"""Part more than was signed that a wall may take before the office hears of it. [1] Common practice, no source."""

SAME_PLACE = 0.6
"""As in `estimates.physics.asfound`: boxes that share this part of their joint area are the same bay. [1]"""


def merged(before: AsFoundRecord, more: AsFoundRecord) -> AsFoundRecord:
    """What was found before with something more: a stud moved again, or a depth probed again, replaces the older word.

    Examples
    --------
    >>> from estimates.house import BayDepthRecord
    >>> one = AsFoundRecord(bay_depths=(BayDepthRecord(bay=1, depth_in=3.0),))
    >>> two = AsFoundRecord(bay_depths=(BayDepthRecord(bay=1, depth_in=3.5), BayDepthRecord(bay=2, depth_in=4.0)))
    >>> [(row.bay, row.depth_in) for row in merged(one, two).bay_depths]
    [(1, 3.5), (2, 4.0)]
    """
    moved = tuple(
        old
        for old in before.studs_moved
        if all(abs(old.from_in - new.from_in) > SAME_STUD_IN for new in more.studs_moved)
    )
    probed = {row.bay for row in more.bay_depths}
    return replace(
        before,
        studs_moved=moved + more.studs_moved,
        studs_added=before.studs_added + more.studs_added,
        blocks_added=before.blocks_added + more.blocks_added,
        depth_in=before.depth_in if more.depth_in is None else more.depth_in,
        bay_depths=tuple(row for row in before.bay_depths if row.bay not in probed) + more.bay_depths,
        holes_added=before.holes_added + more.holes_added,
        holes_skipped=before.holes_skipped + more.holes_skipped,
    )


def found_tell(wall: JobWall, said: Said, *, year_built: int) -> Effect:
    """Lay a wall out as it was found; a word about an older version than the last one is kept and not applied.

    Raises
    ------
    BadRecord : the wall has no drawing; both or neither of the two forms; an edit that does not fit the wall.
    """
    record: FoundRecord = said.record
    if not wall.drawn:
        raise fault("$.found", f"{wall.name} is known by a few figures; the office enters its measures first")
    if (record.found is None) == (record.add is None):
        raise fault("$.found", "enter either all that differs, or what differs as well")
    if record.version != wall.found_version and not _own(wall, said):
        return _clash(wall, said)
    before = layout_of(wall, year_built=year_built)
    now = AsFoundRecord() if not wall.found else read_record(AsFoundRecord, wall.found)
    new = record.found if record.found is not None else merged(now, record.add or AsFoundRecord())
    wall.found, wall.found_version = write_record(new), wall.found_version + 1
    try:
        after = layout_of(wall, year_built=year_built)
    except OutOfRange as bad:
        raise fault(f"$.found.{bad.name}", f"{bad.value} does not fit; enter {bad.ask}") from None
    wall.save(update_fields=["found", "found_version"])
    effect = Effect(looks=_lay(wall, before, after, said))
    fill = sum(bay.fill_ft3 for bay in wall.bays.filter(retired=False))
    if wall.fill_ft3 and fill > (1 + MORE_FOAM) * wall.fill_ft3:
        more = f"{fill / wall.fill_ft3 - 1:.0%}".replace("%", " %")
        effect.looks.append(f"{wall.name} takes {more} more foam than was signed: tell the office before injecting")
    return effect


def _own(wall: JobWall, said: Said) -> bool:
    """Whether the word that made the wall newer was said by the same person before, on a phone that was offline."""
    if said.record.add is None:
        return False
    last = CrewEntry.objects.filter(wall=wall, kind=EntryKind.AS_FOUND, clashed=False).order_by("-id").first()
    return last is not None and last.by_id == said.by.pk and last.noted_at <= said.noted_at


def _clash(wall: JobWall, said: Said) -> Effect:
    last = CrewEntry.objects.filter(wall=wall, kind=EntryKind.AS_FOUND, clashed=False).order_by("-id").first()
    theirs = {"by": "the office", "at": "", "found": wall.found}
    if last is not None:
        theirs |= {"by": last.by.full_name, "at": last.noted_at.isoformat()}
    told = said.record.found if said.record.found is not None else said.record.add
    yours = {"by": said.by.full_name, "at": said.noted_at.isoformat(), "found": write_record(told)}
    says = (
        f"{theirs['by']} changed {wall.name} after this phone had seen it. Both are kept; the wall stands as "
        f"{theirs['by']} said. Look at it and enter once more what differs."
    )
    return Effect(clashes=[{"wall": wall.key, "bay": None, "theirs": theirs, "yours": yours, "says": says}])


def _lay(wall: JobWall, before: WallLayout, after: WallLayout, said: Said) -> list[str]:
    """Bring rows to the new layout. A number that now means another place, and had a report, is looked at again."""
    old, new = ({bay.number: bay for bay in layout.bays} for layout in (before, after))
    rows = {row.number: row for row in wall.bays.all()}
    looks = []
    for number, bay in new.items():
        row = rows.get(number)
        if row is None:
            row = Bay(wall=wall, number=number, added=True)
            row.state = BayState.PLANNED if bay.reachable else BayState.LEFT_OUT
        elif row.retired or (number in old and _likeness(old[number], bay) < SAME_PLACE):
            if row.state_entry is not None:
                row.state, row.state_entry = BayState.DOUBTFUL, said.code
                row.reason = "The wall was found otherwise after this bay was reported: look again."
                looks.append(f"bay {number} stands elsewhere now and had a report: look at it again")
            else:
                row.state = BayState.PLANNED if bay.reachable else BayState.LEFT_OUT
        elif row.state == BayState.LEFT_OUT and bay.reachable and not row.reachable and row.state_entry is None:
            row.state = BayState.PLANNED
        row.area_ft2, row.holes, row.reachable = bay.area_ft2, len(bay.holes), bay.reachable
        row.fill_ft3 = bay.volume_ft3 * wall.room_share if bay.reachable else 0.0
        row.why_not, row.retired = bay.reason[:200], False
        row.full_clean(exclude=("wall",))
        row.save()
    for number, row in rows.items():
        if number not in new and not row.retired:
            row.retired = True
            row.save(update_fields=["retired"])
            if row.state in (BayState.FILLED, BayState.REFUSED):
                looks.append(f"bay {number} was told {row.state} and is no bay any more: say what became of its parts")
    return looks


def _likeness(one: LaidOut, other: LaidOut) -> float:
    wide = min(one.right_in, other.right_in) - max(one.left_in, other.left_in)
    tall = min(one.top_in, other.top_in) - max(one.bottom_in, other.bottom_in)
    if wide <= 0 or tall <= 0:
        return 0.0
    boxes = [(bay.right_in - bay.left_in) * (bay.top_in - bay.bottom_in) for bay in (one, other)]
    return wide * tall / (sum(boxes) - wide * tall)
