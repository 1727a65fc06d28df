"""Hazard gates: which are asked, what keeps an assessment open, what a stop stops, when a fan may run.

The questions themselves are common practice (CP); these tests are of the behaviour, D by the rule's own words.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimates.gates import (
    CATALOGUE,
    GateAnswerRecord,
    GateClosed,
    GateReleaseRecord,
    HouseFacts,
    Verdict,
    Where,
    answer_faults,
    blower_door,
    conditional_clauses,
    held_parts,
    load_hazards,
    open_gates,
    refuse_stopped,
    stopped_walls,
)
from estimates.house import Measure, OptionRecord, house_from_json
from estimates.records import BadRecord, specs

HAZARDS = load_hazards()
FACTS = HouseFacts(1926, ("n", "s"), ("main",), frozenset(Measure), ("hatch",))
DAY = date(2026, 3, 2)


def answer(hazard: str, verdict: Verdict = Verdict.CLEAR, **changes: object) -> GateAnswerRecord:
    full = GateAnswerRecord(
        hazard=hazard,
        verdict=verdict,
        note="seen at the north face",
        answered_on=DAY,
        photos=("p1",),
        verifier="the electrician",
        how="opening the panel",
        before_phase="inject",
    )
    return replace(full, **changes)


def release(hazard: str, on: date, by: str, reason: str, parts: tuple[str, ...] | None) -> GateReleaseRecord:
    return GateReleaseRecord(hazard=hazard, released_on=on, by=by, reason=reason, parts=parts)


def all_clear() -> list[GateAnswerRecord]:
    return [answer(row.id) for row in HAZARDS.hazards]


def test_every_gate_of_the_rule_is_in_the_catalogue() -> None:
    wanted = {
        *("lead_paint", "vermiculite", "asbestos", "knob_and_tube", "recessed_lights", "flues_chimneys"),
        *("bulk_moisture", "cavity_duct", "metal_in_cavity", "combustion", "pests", "weak_interior"),
        *("pipe_in_wall", "wiring_condition", "previous_foam", "mould", "overhead_service"),
    }
    assert {row.id for row in HAZARDS.hazards} == wanted


def test_an_assessment_is_open_until_every_gate_has_an_answer() -> None:
    assert len(open_gates(FACTS, [], HAZARDS)) == len(HAZARDS.hazards)
    assert open_gates(FACTS, all_clear(), HAZARDS) == ()
    left = open_gates(FACTS, all_clear()[1:], HAZARDS)
    assert [gate.hazard.id for gate in left] == [HAZARDS.hazards[0].id]


def test_an_answer_for_one_wall_leaves_the_other_open() -> None:
    answers = [a if a.hazard != "pipe_in_wall" else replace(a, parts=("n",)) for a in all_clear()]
    (left,) = open_gates(FACTS, answers, HAZARDS)
    assert (left.hazard.id, left.parts) == ("pipe_in_wall", ("s",))


def test_the_year_decides_whether_lead_is_asked() -> None:
    for year, asked in ((1977, True), (1978, False)):
        gates = [gate.hazard.id for gate in open_gates(replace(FACTS, year_built=year), [], HAZARDS)]
        assert ("lead_paint" in gates) is asked


def test_gates_of_walls_are_not_asked_where_no_wall_is_meant() -> None:
    facts = HouseFacts(1926, (), ("main",), frozenset({Measure.ATTIC_TOP_UP}))
    asked = {gate.hazard.id for gate in open_gates(facts, [], HAZARDS)}
    assert not asked & {row.id for row in HAZARDS.hazards if row.where is Where.WALLS}
    assert "vermiculite" in asked


def test_walls_that_are_there_but_not_treated_are_not_asked_about() -> None:
    facts = replace(FACTS, measures=frozenset({Measure.ATTIC_TOP_UP}))
    asked = {gate.hazard.id for gate in open_gates(facts, [], HAZARDS)}
    assert not asked & {"pipe_in_wall", "weak_interior", "lead_paint"}
    assert {"vermiculite", "knob_and_tube", "combustion"} <= asked


def test_a_gate_of_younger_houses_is_asked_from_its_year_on() -> None:
    row = replace(HAZARDS.hazard("wiring_condition"), built_from=1965, built_before=1974)
    catalogue = replace(HAZARDS, hazards=(row,))
    for year, asked in ((1964, False), (1965, True), (1973, True), (1974, False)):
        assert bool(open_gates(replace(FACTS, year_built=year), [], catalogue)) is asked


@pytest.mark.parametrize(
    ("verdict", "missing", "fields"),
    [
        (Verdict.CLEAR, {"note": " "}, {"note"}),
        (Verdict.STOP, {"photos": ()}, {"photos"}),
        (Verdict.CONTROLS, {"photos": ("",), "note": ""}, {"photos", "note"}),
        (Verdict.UNKNOWN, {"verifier": "", "how": "", "before_phase": ""}, {"verifier", "how", "before_phase"}),
        (Verdict.CLEAR, {"parts": ()}, {"parts"}),
        (Verdict.CLEAR, {"parts": ("x",)}, {"parts"}),
    ],
)
def test_an_answer_that_lacks_something_names_it_and_counts_as_none(
    verdict: Verdict, missing: dict[str, object], fields: set[str]
) -> None:
    bad = answer("vermiculite", verdict, **missing)
    assert {fault.path for fault in answer_faults(bad, FACTS, HAZARDS)} == fields
    answers = [bad if a.hazard == "vermiculite" else a for a in all_clear()]
    assert [gate.hazard.id for gate in open_gates(FACTS, answers, HAZARDS)] == ["vermiculite"]


def test_a_gate_of_the_house_takes_no_names_and_an_unknown_gate_is_refused() -> None:
    faults = answer_faults(answer("combustion", parts=("n",)), FACTS, HAZARDS)
    assert any("whole house" in fault.message for fault in faults)
    with pytest.raises(BadRecord, match="no gate 'ghosts'; enter one of lead_paint"):
        answer_faults(answer("ghosts"), FACTS, HAZARDS)


def test_a_stopped_wall_cannot_be_priced_until_its_release_is_recorded() -> None:
    stop = answer("knob_and_tube", Verdict.STOP, parts=("n",))
    stopped = stopped_walls(FACTS, [stop], [], HAZARDS)
    assert [(held.part, held.hazard) for held in stopped] == [("n", "knob_and_tube")]
    with pytest.raises(GateClosed, match="n: stopped by knob_and_tube"):
        refuse_stopped(["n", "s"], stopped)
    refuse_stopped(["s", "main"], stopped)
    lifted = release("knob_and_tube", DAY, "owner", "electrician's report 4", ("n",))
    assert stopped_walls(FACTS, [stop], [lifted], HAZARDS) == ()


@pytest.mark.parametrize(
    "lifted",
    [
        release("knob_and_tube", date(2026, 3, 1), "owner", "too early", ("n",)),
        release("knob_and_tube", DAY, "", "nobody", ("n",)),
        release("knob_and_tube", DAY, "owner", " ", ("n",)),
        release("knob_and_tube", DAY, "owner", "another wall", ("s",)),
        release("asbestos", DAY, "owner", "another hazard", ("n",)),
    ],
)
def test_a_release_that_does_not_fit_lifts_nothing(lifted: GateReleaseRecord) -> None:
    stop = answer("knob_and_tube", Verdict.STOP, parts=("n",))
    assert [held.part for held in stopped_walls(FACTS, [stop], [lifted], HAZARDS)] == ["n"]


def test_a_later_clear_does_not_lift_a_stop() -> None:
    stop = answer("asbestos", Verdict.STOP)
    later = answer("asbestos", Verdict.CLEAR, answered_on=date(2026, 4, 1))
    assert {held.part for held in stopped_walls(FACTS, [stop, later], [], HAZARDS)} == {"n", "s", "main", "hatch"}


def test_a_stop_of_the_house_stops_everything_and_one_of_all_walls_only_walls() -> None:
    house = stopped_walls(FACTS, [answer("combustion", Verdict.STOP)], [], HAZARDS)
    assert [held.part for held in house] == ["n", "s", "main", "hatch"]
    walls = stopped_walls(FACTS, [answer("weak_interior", Verdict.STOP)], [], HAZARDS)
    assert [held.part for held in walls] == ["n", "s"]


def test_not_yet_known_may_be_priced_with_its_clause_but_not_started() -> None:
    unknown = answer("flues_chimneys", Verdict.UNKNOWN, parts=("s",))
    answers = [*all_clear(), replace(unknown, answered_on=date(2026, 3, 3))]
    assert stopped_walls(FACTS, answers, [], HAZARDS) == ()
    assert open_gates(FACTS, answers, HAZARDS) == ()
    assert [(held.part, held.verdict) for held in held_parts(FACTS, answers, [], HAZARDS)] == [("s", Verdict.UNKNOWN)]
    (clause,) = conditional_clauses(FACTS, answers, HAZARDS)
    assert HAZARDS.hazard("flues_chimneys").unknown in clause
    assert "(s) the electrician will find out by opening the panel before inject" in clause
    known = [*answers, answer("flues_chimneys", Verdict.CLEAR, parts=("s",), answered_on=date(2026, 3, 4))]
    assert conditional_clauses(FACTS, known, HAZARDS) == held_parts(FACTS, known, [], HAZARDS) == ()


class TestBlowerDoor:
    def allowed(
        self, *answers: GateAnswerRecord, releases: tuple[GateReleaseRecord, ...] = (), **changes: bool
    ) -> list[str]:
        asked = {"fire": False, "hot_ash": False, "appliances_disabled": True} | changes
        permission = blower_door(answers, releases, **asked)
        assert permission.allowed is (permission.reasons == ())
        return [] if permission.allowed else list(permission.reasons)

    def test_it_runs_where_both_dusts_were_looked_for_and_not_found(self) -> None:
        assert self.allowed(answer("vermiculite"), answer("asbestos")) == []

    def test_an_unanswered_gate_counts_as_not_known(self) -> None:
        assert "vermiculite is not yet known" in self.allowed(answer("asbestos"))[0]

    @pytest.mark.parametrize("verdict", [Verdict.STOP, Verdict.CONTROLS])
    def test_what_is_there_in_one_wall_keeps_the_fan_out_of_the_whole_house(self, verdict: Verdict) -> None:
        found = answer("asbestos", verdict, parts=("n",))
        (reason,) = self.allowed(answer("vermiculite"), answer("asbestos", parts=("s", "main")), found)
        assert "asbestos is present: no fan in either direction" in reason

    def test_a_negative_sample_lets_it_run_and_a_release_without_one_does_not(self) -> None:
        found = answer("vermiculite", Verdict.STOP)
        lifted = release("vermiculite", DAY, "owner", "removed", None)
        assert self.allowed(answer("asbestos"), found, releases=(lifted,)) != []
        assert self.allowed(answer("asbestos"), found, releases=(replace(lifted, sample="report 7"),)) == []
        assert self.allowed(answer("asbestos"), replace(found, sample="report 7")) == []

    def test_not_yet_known_holds_until_a_later_answer_covers_the_same_parts(self) -> None:
        unknown = answer("vermiculite", Verdict.UNKNOWN)
        named = answer("vermiculite", parts=("main",), answered_on=date(2026, 3, 5))
        assert self.allowed(answer("asbestos"), unknown, named) != []
        assert self.allowed(answer("asbestos"), unknown, replace(named, parts=None)) == []

    @pytest.mark.parametrize("change", [{"fire": True}, {"hot_ash": True}, {"appliances_disabled": False}])
    def test_fire_ash_and_appliances_keep_it_out(self, change: dict[str, bool]) -> None:
        assert len(self.allowed(answer("vermiculite"), answer("asbestos"), **change)) == 1


@given(st.lists(st.tuples(st.sampled_from(["n", "s", None]), st.sampled_from(list(Verdict)), st.integers(1, 28))))
def test_more_answers_never_lift_a_stop(given_answers: list[tuple[str | None, Verdict, int]]) -> None:
    stop = answer("mould", Verdict.STOP, parts=("n",))
    others = [
        answer("mould", verdict, parts=None if part is None else (part,), answered_on=date(2026, 3, day))
        for part, verdict, day in given_answers
    ]
    assert "n" in {held.part for held in stopped_walls(FACTS, [*others, stop], [], HAZARDS)}


def test_the_facts_of_a_house_name_its_walls_attics_and_measures() -> None:
    houses = Path(CATALOGUE).parent / "houses"
    house = house_from_json((houses / "alder-foursquare.json").read_text(encoding="utf-8"))
    facts = HouseFacts.of(house)
    assert facts.walls[:2] == ("front", "back")
    assert facts.measures == frozenset(Measure)
    assert {gate.hazard.id for gate in open_gates(facts, [], HAZARDS)} == {row.id for row in HAZARDS.hazards}


def test_a_broken_catalogue_is_refused_by_path(tmp_path: Path) -> None:
    path = tmp_path / "hazards.toml"
    path.write_text("hazards = [")
    with pytest.raises(BadRecord, match="not valid TOML"):
        load_hazards(path)
    path.write_text(CATALOGUE.read_text(encoding="utf-8").replace('"air_sealing"]', '"air_sealng"]', 1))
    with pytest.raises(BadRecord, match=r"hazards\.hazards\[0\]\.measures: no measure 'air_sealng'; enter one of"):
        load_hazards(path)


def test_every_kind_of_part_that_an_option_can_hold_is_reached_by_a_stop_of_the_house() -> None:
    # A new kind of work that the gates do not know of would be priced under a stop of the whole house.
    offered = {name for name, (spec, _) in specs(OptionRecord).items() if spec.kind == "codes"}
    assert offered == {"wall_ids", "attic_ids", "leak_ids"}, "teach gates.HouseFacts the new parts, then name them here"
    combustion = HAZARDS.hazard("combustion")
    assert set(FACTS.reach(combustion)) == {*FACTS.walls, *FACTS.attics, *FACTS.leaks}
