"""The proposal. Marks: S printed text seen, M from memory, D derived by a second method, CP common practice."""

import io
import json
import re
import zipfile
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock

import jinja2
import pypdf
import pytest
from docx import Document

from estimates import proposal_safety as safety
from estimates import proposal_words as words
from estimates.drawing import elevation
from estimates.firm import FIRM_FILE, load_firm
from estimates.gates import house_gates
from estimates.house import (
    WHOLE_SCOPE,
    Access,
    AtticRecord,
    BlowerDoorRecord,
    ClimateRecord,
    Closure,
    ComplaintRecord,
    Condition,
    ExistingFillRecord,
    FillMaterial,
    Framing,
    Fuel,
    GateAnswerRecord,
    HeatingRecord,
    HouseholdRecord,
    HouseRecord,
    LeakKind,
    LeakSiteRecord,
    OpeningRecord,
    OptionRecord,
    PressurePointRecord,
    Verdict,
    WallRecord,
)
from estimates.money import format_money
from estimates.office import write_pdf
from estimates.picture import keep_png
from estimates.pricebook import load_book
from estimates.proposal import (
    PICTURE_MM,
    PICTURE_PX,
    TEMPLATE,
    check_template,
    proposal_context,
    write_proposal,
)
from estimates.proposal_money import tax_words
from estimates.proposal_shape import NEEDED, SHAPE
from estimates.records import BadRecord
from estimates.snapshot import take_snapshot
from estimates.tax import SalesTax
from estimates.terms import BLANK

ISSUED, VALID = date(2026, 11, 25), date(2026, 12, 25)

BATTS = ExistingFillRecord(
    material=FillMaterial.GLASS_BATT,
    in_place_in=2.5,
    compressed_in=0.5,
    covered_share=0.9,
    condition=Condition.POOR,
)
FULL_BATTS = replace(BATTS, in_place_in=3.5, compressed_in=3.0, covered_share=1.0, condition=Condition.GOOD)

WALLS = (
    WallRecord(
        id="north",
        name="North <wall> & co",
        length_ft=24.0,
        height_ft=8.09375,
        openings=(OpeningRecord(id="w1", left_in=60, bottom_in=36, width_in=36, height_in=46),),
    ),
    WallRecord(id="south", name="South", length_ft=24.0, height_ft=8.09375, existing_fill=BATTS),
    WallRecord(id="west", name="West", length_ft=18.0, height_ft=8.09375, existing_fill=FULL_BATTS),
    WallRecord(id="east", name="East", length_ft=18.0, height_ft=17.0, framing=Framing.BALLOON, sill=Closure.OPEN),
    WallRecord(id="deep", name="Deep", length_ft=10.0, height_ft=8.0, depth_in=4.0, access=Access.DRILL_INSIDE),
)


def answered(house: HouseRecord) -> HouseRecord:
    """The house with a clear answer to every gate that is open."""
    clear = [
        GateAnswerRecord(hazard=gate.hazard.id, verdict=Verdict.CLEAR, note="Looked at.", answered_on=ISSUED)
        for gate in house_gates(house).open
    ]
    return replace(house, gate_answers=(*house.gate_answers, *clear))


def house_record(**changes: Any) -> HouseRecord:
    """A house with a complete assessment, unless `gate_answers` says otherwise."""
    fields: dict[str, Any] = {
        "schema": "cavitybook/house/1",
        "id": "test-house",
        "name": "House of the test",
        "customer": "Wilhelmina O'Tarn {{ number }}",
        "street": "3 Larch & Fern Row",
        "town": "Lower Tamarack",
        "state": "NY",
        "year_built": 1931,
        "storeys": 2,
        "floor_area_ft2": 1500.0,
        "volume_ft3": 12000.0,
        "bedrooms": 3,
        "has_ducts": True,
        "complaints": (ComplaintRecord(room="North bedroom", words="It is <cold> & drafty.\nEvery night."),),
        "walls": WALLS,
        "attics": (
            AtticRecord(
                id="attic",
                name="Attic floor",
                area_ft2=700.0,
                existing_material=FillMaterial.LOOSE_ROCK_WOOL,
                existing_depth_in=3.0,
            ),
        ),
        "leak_sites": (
            LeakSiteRecord(
                id="stack", name="Stack in the bath", kind=LeakKind.PLUMBING_STACK, quantity=2, component_share=0.1
            ),
        ),
        "blower_door": BlowerDoorRecord(points=(PressurePointRecord(pressure_pa=50.0, flow_cfm=3000.0),)),
        "heating": HeatingRecord(fuel=Fuel.NATURAL_GAS, efficiency=0.8, price_per_unit=1.465, yearly_units=1200.0),
        "climate": ClimateRecord(
            place="Fernmoor station",
            source="invented normals",
            heating_degree_days=5450.0,
            season_mean_f=34.0,
            season_wind_mph=9.0,
        ),
        "options": (
            OptionRecord(id="all", name="All of it"),
            OptionRecord(id="walls", name="Walls only", attic_ids=(), leak_ids=()),
        ),
    }
    house = HouseRecord(**(fields | changes))
    return house if "gate_answers" in changes else answered(house)


def found(option: str, surfaces: tuple[Any, ...], *, tested: bool = True) -> Any:
    """What the performance of an option says, by hand: the papers only pass it on."""
    spread = SimpleNamespace
    return SimpleNamespace(
        option_id=option,
        surfaces=surfaces,
        ua_before=100.0,
        ua_after=43.7,
        cfm50_before=3000.0 if tested else None,
        cfm50_after=spread(p10=2110.0, p50=2340.0, p90=2590.0) if tested else None,
        fresh_air=spread(sentence="By edition X no fan is needed.") if tested else None,
        saved_units=spread(p10=183.0, p50=250.0, p90=342.0),
        saved_dollars=spread(p10=266.3, p50=370.0, p90=505.7),
        fuel_unit="therm",
        matters=("framing that the layout does not show",),
        warnings=(),
    )


def surface(code: str, name: str, before: float, after: float) -> Any:
    return SimpleNamespace(id=code, name=name, area_ft2=180.4, u_before=before, u_after=after)


@pytest.fixture(scope="module")
def book():
    return load_book("standard")


@pytest.fixture(scope="module")
def run(book):
    """Return a function: house -> context, with the snapshot it was made from; what performance says is by hand."""

    def make(house: HouseRecord | None = None, **changes: Any) -> Any:
        house = house or house_record()
        surfaces = (surface("north", "North", 0.2541, 0.0667), surface("west", "West", 0.09, 0.09))
        figures = SimpleNamespace(
            draws=2000,
            options=tuple(
                found(one.id, surfaces, tested=house.blower_door is not None) for one in house.options or (WHOLE_SCOPE,)
            ),
            combustion=SimpleNamespace(standing=(), rounds=(), missing=("no combustion test before the work",)),
            moisture=tuple(changes.pop("moisture", ())),
        )
        with mock.patch("estimates.snapshot.performance", return_value=figures):
            snapshot = take_snapshot(house, book)
        arguments: dict[str, Any] = {
            "number": "P-0007",
            "revision": 2,
            "issued_on": ISSUED,
            "valid_until": VALID,
            "firm": load_firm(),
        }
        context = proposal_context(snapshot, **(arguments | changes))
        return SimpleNamespace(
            snapshot=snapshot,
            house=snapshot.house,
            takeoff=snapshot.takeoff,
            options=snapshot.options,
            offers=snapshot.offers,
            context=context,
        )

    return make


@pytest.fixture(scope="module")
def made(run):
    return run()


@pytest.fixture(scope="module")
def pictures(made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pictures")
    return {
        counted.wall.id: keep_png(
            elevation(counted.layout, counted.wall, shown_px=PICTURE_PX), folder, width_in=PICTURE_MM / 25.4, dpi=60
        )
        for counted in made.takeoff.priced_walls
    }


@pytest.fixture(scope="module")
def paper(made, pictures, tmp_path_factory):
    return write_proposal(tmp_path_factory.mktemp("papers") / "proposal.docx", made.context, pictures, issued_on=ISSUED)


def texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    items = value.values() if isinstance(value, dict) else value
    return [text for item in items for text in texts(item)]


def keys(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {key for item in value.values() for key in keys(item)}
    return {key for item in value for key in keys(item)} if isinstance(value, list) else set()


def said(path: Path) -> str:
    """Every word of the body of a document, table cells included."""
    body = Document(str(path)).element.body
    return "\n".join("".join(t.text or "" for t in p.iter("{*}t")) for p in body.iter("{*}p"))


# --- what it says ------------------------------------------------------------------------------------------------


def conforms(value: Any, shape: Any) -> bool:
    if isinstance(shape, str):
        return isinstance(value, str)
    if isinstance(shape, list):
        return isinstance(value, list) and all(conforms(item, shape[0]) for item in value)
    return isinstance(value, dict) and set(value) == set(shape) and all(conforms(value[k], shape[k]) for k in shape)


def test_the_context_is_plain_and_has_the_names_that_templates_may_use(made):
    assert conforms(made.context, SHAPE)
    json.dumps(made.context)


def test_no_cost_margin_or_commission_is_in_the_context(made):
    forbidden = re.compile(r"cost_|_cost|margin|markup|commission|hours|floor_|profit|labou?r", re.IGNORECASE)
    assert not [key for key in keys(made.context) if forbidden.search(key)]
    everything = "\n".join(texts(made.context))
    assert not re.search(r"margin|markup|commission|direct cost", everything, re.IGNORECASE)
    for option in made.options:
        secret = {option.cost_cents, option.commission_cents, option.price_cents - option.cost_cents}
        secret |= {line.cost_cents for line in option.lines} | {line.price_cents for line in option.lines}
        for amount in secret - {0, option.price_cents}:
            assert format_money(amount) not in everything
        for share in (option.margin, option.markup, option.target_margin, option.floor_margin):
            assert f"{share:.0%}" not in everything
            assert f"{share:.1%}" not in everything


def cents(shown: str) -> int:
    return round(float(shown.replace("$", "").replace(",", "")) * 100)


def test_price_and_tax_make_the_total_and_the_payments_add_up_to_it(made):
    # D: read back from the printed text. An option's name stands in the first of its rows.
    options = {option["name"]: option for option in made.context["options"]}
    paid: dict[str, list[int]] = {}
    name = ""
    for row in made.context["payments"]:
        name = row["option"] or name
        paid.setdefault(name, []).append(cents(row["amount"]))
    assert set(paid) == set(options)
    for option, offer in zip(made.context["options"], made.offers, strict=True):
        assert cents(option["price"]) == offer.price_cents
        assert cents(option["price"]) + cents(option["tax"]) == cents(option["total"]) == sum(paid[option["name"]])
        assert len(paid[option["name"]]) == len(offer.steps)


def test_sales_tax_says_why(run):
    # D: .08 of the price with the invented county's row; the incentive that lowers it is taken off first. M: NY .04.
    why = run(house_record(county="Fernmoor")).context["options"][0]["tax_why"]
    assert re.fullmatch(r"8% of \$[\d,.]+, the price less incentives that lower it", why)
    assert run().context["options"][0]["tax_why"] == "4% of the price"
    option = run(house_record(capital_improvement=True)).context["options"][0]
    assert (option["tax"], option["tax_why"]) == ("$0.00", "none: certificate of capital improvement")
    assert run(house_record(state="MD")).context["options"][0]["tax_why"] == "none is charged on this work here"
    assert "no rule of this place" in run(house_record(state="OH")).context["options"][0]["tax_why"]


def test_the_taxed_part_of_a_price_is_told():
    rule = SimpleNamespace(value={"rate": "0.06", "taxed": ["material"]})
    tax = SalesTax(rule, 0.06, 50_00, 3_00, "quote")
    assert tax_words(tax, 100_00) == "6% of $50.00, the taxed part of the price"


def test_incentives_say_who_gets_them_what_caps_lowered_them_and_what_is_open(run):
    context = run(house_record(county="Fernmoor")).context
    rows = context["incentives"]
    assert [row["option"] for row in rows] == ["All of it", "", "Walls only"]
    by_name = {row["name"]: row for row in rows[:2]}
    walls, air = by_name["Fernmoor wall rebate"], by_name["Fernmoor air-sealing rebate"]
    assert walls["payee"] == "you, within 90 days of the final invoice"
    assert "Still needed: final invoice, insulation receipt." in walls["notes"]
    assert air["payee"].startswith("us, on the invoice; it comes off")
    assert "Not legal or tax advice" in context["incentives_note"]
    for option, offer in zip(context["options"], run(house_record(county="Fernmoor")).offers, strict=True):
        assert cents(option["net"]) == offer.net_cents == cents(option["total"]) - offer.incentives.total_cents
    caps = [note for row in rows for note in row["notes"] if "lowered" in note]
    assert all(re.match(r"(Cap|Price left) .*: \$[\d,.]+ lowered to \$[\d,.]+\.$", cap) for cap in caps)


def test_a_cap_names_its_measure_in_words(run):
    poor = HouseholdRecord(income_share=0.5)
    walls = (replace(WALLS[0], length_ft=70.0), *WALLS[1:])
    rows = run(house_record(county="Fernmoor", household=poor, walls=walls)).context["incentives"]
    grant = next(row for row in rows if row["name"] == "Fernmoor warm-home grant")
    # The invented row: at most $4,000 a measure.
    assert "Cap for filling the walls: " in grant["notes"][0]
    assert grant["notes"][0].endswith("lowered to $4,000.00.")
    assert grant["notes"][-1].startswith("Still needed: approval before work begins, proof of income")


def test_a_house_without_programmes_has_no_word_of_incentives(made):
    assert made.context["incentives"] == []
    assert made.context["incentives_note"] == ""


def test_a_discount_is_shown_with_its_reason_and_only_where_one_is_given(run, made, tmp_path):
    option = OptionRecord(id="all", name="All of it", discount=250.0, discount_reason="neighbours together")
    context = run(house_record(options=(option,))).context
    assert context["options"][0]["discount"] == "-$250.00 (neighbours together), taken off already"
    assert "Discount" in said(write_proposal(tmp_path / "a.docx", context, {}))
    assert made.context["discounted"] == ""
    assert "Discount" not in said(write_proposal(tmp_path / "b.docx", made.context, {}))


def test_the_cap_on_the_deposit_is_quoted_with_its_source(run):
    # S for the rule: ten percent or $1,000, whichever is less. D: a tenth of the printed totals, cents cut off.
    large = (replace(WALLS[0], length_ft=70.0), *WALLS[1:])
    context = run(house_record(state="CA", walls=large)).context
    lines = context["deposit"]
    shown = [
        f"{option['name']}: {format_money(min(100_000, cents(option['total']) // 10))}" for option in context["options"]
    ]
    assert lines[0] == f"Most that may be taken at signing: {'; '.join(shown)}."
    assert "$1,000.00" in lines[0]
    assert "10 percent of the price or $1,000" in lines[1]
    assert "7159" in lines[1]
    assert "[S]" not in lines[1]
    assert run().context["deposit"] == []


def test_no_name_of_the_record_is_printed(run):
    poor = HouseholdRecord(income_share=0.5)
    context = run(house_record(county="Fernmoor", household=poor, gate_answers=())).context
    for text in texts({name: value for name, value in context.items() if name not in ("walls", "kind")}):
        assert not re.search(r"[a-z]_[a-z]", text), text


# --- gates -------------------------------------------------------------------------------------------------------


def answer(hazard: str, verdict: Verdict, *parts: str, **more: Any) -> GateAnswerRecord:
    photos = ("p1",) if verdict in (Verdict.STOP, Verdict.CONTROLS) else ()
    fields = {"note": "Seen on the visit.", "photos": photos, "parts": parts or None, "answered_on": ISSUED}
    return GateAnswerRecord(hazard=hazard, verdict=verdict, **(fields | more))


def test_a_stopped_part_is_not_in_the_price_and_says_why(run):
    stop = answer("knob_and_tube", Verdict.STOP, "north")
    house = answered(house_record(gate_answers=(stop, answer("knob_and_tube", Verdict.CLEAR))))
    context = run(house).context
    reasons = {part["name"]: part["reason"] for part in context["not_in_price"]}
    assert reasons["North <wall> & co"] == (
        "Live open wiring must not be covered: an electrician takes it out of use first. Seen on the visit."
    )
    assert "north" not in [wall["id"] for wall in context["walls"]]


def test_what_is_not_yet_known_is_a_condition_of_the_price_with_the_names_of_its_parts(run):
    ask = answer(
        "pipe_in_wall", Verdict.UNKNOWN, "north", "deep", verifier="the plumber", how="tracing", before_phase="drilling"
    )
    house = answered(house_record(gate_answers=(ask, answer("pipe_in_wall", Verdict.CLEAR, "south", "west", "east"))))
    (condition,) = run(house).context["conditions"]
    assert condition == (
        "North <wall> & co and Deep: Pipes are traced before drilling; bays that hold one may be left out. The plumber "
        "will find out by tracing before drilling; until then this part is not started."
    )


def test_a_condition_of_what_is_not_offered_is_left_out(run):
    ask = answer("pests", Verdict.UNKNOWN, "attic", verifier="we", how="looking", before_phase="blowing")
    rest = answer("pests", Verdict.CLEAR, "north", "south", "west", "east", "deep")
    walls = (OptionRecord(id="walls", name="Walls only", attic_ids=(), leak_ids=()),)
    assert run(answered(house_record(gate_answers=(ask, rest), options=walls))).context["conditions"] == []
    assert len(run(answered(house_record(gate_answers=(ask, rest)))).context["conditions"]) == 1


def test_controls_are_cautions_with_the_names_of_their_parts(run):
    controls = answer("asbestos", Verdict.CONTROLS, "north")
    rest = answer("asbestos", Verdict.CLEAR, "south", "west", "east", "deep", "attic")
    cautions = run(answered(house_record(gate_answers=(controls, rest)))).context["cautions"]
    assert any(line.startswith("North <wall> & co: Sound cement shingles: lifted whole, wetted") for line in cautions)


def test_lead_safe_work_says_what_the_family_sees(run):
    controls = answer("lead_paint", Verdict.CONTROLS)
    cautions = run(answered(house_record(gate_answers=(controls,)))).context["cautions"]
    (lead,) = [line for line in cautions if "ead-safe work" in line]
    assert lead.startswith("Lead-safe work on all walls:")
    for seen in ("plastic sheets", "warning signs", "we clean until", "pamphlet", "records"):
        assert seen in lead


def test_the_unseen_barrier_is_named_where_things_could_not_be_seen(run):
    risk = SimpleNamespace(possible=True)
    row = SimpleNamespace(
        id="north",
        name="North",
        after=risk,
        basis="Estimate for steady cold of 6 degF.",
        cautions=("outside face is tight", safety.UNSEEN_BARRIER),
    )
    context = run(moisture=(row, SimpleNamespace(**(vars(row) | {"id": "west"})))).context
    assert "North <wall> & co: outside face is tight." in context["cautions"]
    assert "Estimate for steady cold of 6 °F." in context["cautions"]
    assert [line for line in context["not_seen"] if "weather barrier" in line] == [
        "North <wall> & co: whether a weather barrier lies behind the cladding; we count on none."
    ]


def test_fresh_air_is_told_once_where_every_option_says_the_same(run, made):
    assert made.context["fresh_air"] == ["By edition X no fan is needed."]
    assert run(house_record(blower_door=None)).context["fresh_air"] == []


def test_findings_of_combustion_tests_are_sentences(made):
    standing = (SimpleNamespace(text="water heater: spills; repair it"),)
    combustion = SimpleNamespace(standing=standing, rounds=(1,), missing=("furnace has no test: test it",))
    lines = list(safety.combustion_cautions(SimpleNamespace(combustion=combustion)))
    assert lines == ["Water heater: spills; repair it.", "Furnace has no test: test it."]
    assert any("every appliance that burns fuel is tested" in line for line in made.context["cautions"])


def test_an_incomplete_assessment_gives_a_preliminary_paper_without_lines_to_sign_on(run, made, tmp_path):
    context = run(house_record(gate_answers=())).context
    assert context["kind"] == "Preliminary proposal"
    assert context["contract"] == ""
    assert context["notices"] == context["acknowledgements"] == []
    asked = [line for line in context["preliminary"] if line.startswith("Is any cavity used as a duct")]
    assert asked == ["Is any cavity used as a duct, return or exhaust path? (all walls)"]
    written = said(write_proposal(tmp_path / "open.docx", context, {}))
    assert "Preliminary: this paper is no contract" in written
    for word in ("Agreement", "Notice of Cancellation", "Date of this transaction", "I HEREBY CANCEL"):
        assert word not in written
        assert word in said(write_proposal(tmp_path / "whole.docx", made.context, {}))
    assert made.context["kind"] == "Proposal"


def test_a_missing_clause_is_named_on_the_paper(run):
    context = run(house_record(state="CA")).context
    assert context["preliminary"] == ["Missing: lien notice."]
    assert context["contract"] == ""


def test_an_option_of_which_nothing_can_be_priced_is_no_contract(run):
    only = (OptionRecord(id="none", name="East", wall_ids=("east",), attic_ids=(), leak_ids=()),)
    assert run(house_record(options=only)).context["preliminary"] == ["East: nothing of it can be priced yet."]


# --- terms and signing -------------------------------------------------------------------------------------------


def test_the_notice_comes_in_two_copies_each_on_a_page_of_its_own(made, paper):
    assert [notice["which"][:12] for notice in made.context["notices"]] == ["Copy 1 of 2.", "Copy 2 of 2."]
    document = Document(str(paper))
    heads = [p for p in document.paragraphs if p.text == "Notice of Cancellation"]
    assert len(heads) == 2
    assert all(p.paragraph_format.page_break_before for p in heads)
    assert said(paper).count("I HEREBY CANCEL THIS TRANSACTION.") == 2


def test_the_days_of_the_notice_are_blank_until_somebody_signs(run, made):
    blank = made.context["notices"][0]
    assert blank["date"] == f"Date of transaction: {BLANK}"
    assert blank["lines"][-2].endswith(f"NOT LATER THAN MIDNIGHT OF {BLANK}.")
    # PRODUCT P7: Wed 2026-11-25 -> Mon 11-30 (D: counted on the calendar).
    signed = run(signed_on=date(2026, 11, 25)).context["notices"][0]
    assert signed["date"] == "Date of transaction: 25 November 2026"
    assert signed["lines"][-2].endswith("NOT LATER THAN MIDNIGHT OF 30 November 2026.")


def test_the_statement_stands_right_above_the_place_to_sign_in_bold_of_ten_points(made, paper):
    document = Document(str(paper))
    (statement,) = [p for p in document.paragraphs if p.text == made.context["cancellation"]]
    assert statement.style.font.bold
    assert statement.style.font.size.pt >= 10
    table = statement._p.getnext()
    assert "Date of this transaction" in "".join(t.text or "" for t in table.iter("{*}t"))


def test_the_fact_sheets_shown_are_those_of_what_is_installed(run, made):
    assert made.context["fact_sheet"].endswith("cementitious foam, injected; and cellulose, loose fill.")
    walls = (OptionRecord(id="walls", name="Walls only", attic_ids=(), leak_ids=()),)
    assert run(house_record(options=walls)).context["fact_sheet"].endswith(": cementitious foam, injected.")


def test_unit_prices_of_hidden_damage_are_those_of_the_firm(run):
    firm = replace(load_firm(), cladding_per_ft=18.35, plaster_per_ft2=7.0)
    prices = [damage["price"] for damage in run(firm=firm).context["hidden_damage"]]
    assert prices == ["$18.35 a foot", "$7.00 a ft²"]


def test_an_acknowledgement_of_the_state_is_signed_apart(run, tmp_path):
    context = run(house_record(state="MD")).context
    (oral,) = context["acknowledgements"]
    assert oral["text"].startswith("I, Wilhelmina O'Tarn {{ number }}, have been provided oral notice")
    assert oral["text"] in said(write_proposal(tmp_path / "md.docx", context, {}))


# --- figures -----------------------------------------------------------------------------------------------------


def test_foam_is_told_by_the_row_of_its_fact_sheet_and_nothing_else(made, book):
    shown = {wall["id"]: wall["foam"] for wall in made.context["walls"]}
    assert shown["north"] == "Cementitious foam, injected, 3.5 in, R-13.7"
    # 3.0 in of foam beside old batts: the largest listed thickness not above it is 2 in; 4 in: 3.625.
    assert shown["south"] == "Cementitious foam, injected, 2 in, R-7.8"
    assert shown["deep"] == "Cementitious foam, injected, 3.625 in, R-14.1"
    listed = {f"R-{row.r:g}" for row in book.foam.facts} | {f"R-{row.r:g}" for row in book.loose_fill.coverage}
    estimated = re.compile(r"(?:about|estimated at about) R-\d+")
    for text in texts(made.context):
        for r in re.findall(r"R-[\d.]*\d", estimated.sub("", text)):
            assert r in listed


def test_attic_is_told_by_the_row_on_the_bag_with_the_old_fill_apart(made, book):
    attic = made.context["attics"][0]
    # Old: R-8 to 9; R-49 wanted; the next row of the table is R-44. 700 ft2 x 65.2 / 1,000 = 45.6 bags (D: by hand).
    assert attic["added"] == "R-44"
    assert attic["thickness"] == "14.1 in as blown, 12.3 in when settled"
    assert attic["bags"] == "46 bags of 25 lb at least"
    assert attic["found"].endswith(f"estimated at about R-{made.takeoff.attics[0].existing_r:.0f}.")


def test_bays_and_holes_are_those_of_the_takeoff(made):
    for shown in made.context["walls"]:
        counted = next(wall for wall in made.takeoff.walls if wall.wall.id == shown["id"])
        numbers = [int(number.replace(",", "")) for number in re.findall(r"[\d,]*\d", shown["count"])]
        assert numbers == [counted.reachable_bays, counted.plugs]


def test_stopped_walls_are_named_with_a_plain_reason_and_have_no_picture_or_price(made):
    reasons = {part["name"]: part["reason"] for part in made.context["not_in_price"]}
    assert reasons == {
        "West": "Not worth filling: 0.50 in left beside the old insulation, the product needs 1 in.",
        "East": "Foam would run away: sill is open. It has to be closed first.",
    }
    assert [wall["id"] for wall in made.context["walls"]] == ["north", "south", "deep"]


def test_what_is_in_no_option_is_listed_as_not_in_the_price(run):
    house = house_record(options=(OptionRecord(id="a", name="North", wall_ids=("north",), attic_ids=(), leak_ids=()),))
    named = {part["name"]: part["reason"] for part in run(house).context["not_in_price"]}
    assert {name for name, reason in named.items() if "none of the options" in reason} == {
        "South", "Deep", "Attic floor", "Stack in the bath",
    }  # fmt: skip


def test_heat_loss_is_told_by_u_and_by_the_share_less(made):
    # .2541 and .0667 to two digits; 1 - .0667 / .2541 = .7375 (D: by hand). A part that does not change is not shown.
    assert made.context["heat"] == [{"name": "North", "area": "180", "before": "0.25", "after": "0.067", "less": "74%"}]


def test_ranges_carry_no_more_digits_than_they_deserve(made):
    option = made.context["options"][0]
    assert option["air"] == "2,100–2,600 CFM50"
    assert option["saving"] == "$270–$510 a year"
    assert option["fuel"] == "180–340 therms a year"
    assert option["heat"] == "56% less"


def test_savings_say_what_they_stand_on_and_that_they_vary(made):
    basis = made.context["savings_basis"]
    for part in (
        "5,450 heating degree days",
        "60 °F",
        "Fernmoor station",
        "natural gas at $1.465 a therm",
        "80%",
        "1,200",
    ):
        assert part in basis
    # S: 16 CFR 460.19, by the rule row; it stands once.
    assert made.context["savings_vary"].startswith("Savings vary. Find out why in the seller’s fact sheet on R-values.")
    assert sum("Savings vary" in text for text in texts(made.context)) == 1


def test_a_house_without_a_blower_door_claims_no_air_figure(run):
    context = run(house_record(blower_door=None)).context
    assert context["air_before"] == ""
    assert {option["air"] for option in context["options"]} == {"not measured yet"}
    assert any("no blower-door test" in line for line in context["not_seen"])
    assert "not counted" in context["savings_basis"]
    assert "CFM50" not in "\n".join(texts(context))


def test_cause_comes_from_the_measurements(made):
    cause = "\n".join(made.context["cause"])
    # 3,000 cfm x 60 / 12,000 ft3 = 15 changes an hour (D).
    assert "3,000 cubic feet a minute" in cause
    assert "15 times an hour" in cause
    assert "old glass-fibre batts, 2.5 in thick, over about 90% of the wall, in poor condition" in cause
    assert "gap round a pipe" in cause


def test_paint_waits_for_the_drying_days_of_the_product(made, book):
    assert any(f"for {book.foam.drying_days} days" in line for line in made.context["aftercare"])


def test_an_attic_job_asks_for_nothing_at_the_walls(run):
    context = run(house_record(walls=())).context
    everything = "\n".join(context["prepare"] + context["aftercare"] + context["cautions"])
    assert "wall" not in everything.replace("paint may hold lead", "")
    assert context["walls"] == []


@pytest.mark.parametrize(("year", "told"), [(1977, True), (1978, False)])
def test_lead_paint_is_spoken_of_in_houses_of_before_1978(run, year, told):
    cautions = run(house_record(year_built=year)).context["cautions"]
    assert any("lead paint" in line for line in cautions) is told


@pytest.mark.parametrize(
    ("changes", "message"),
    [({"valid_until": date(2026, 11, 24)}, "valid_until 2026-11-24 is before"), ({"revision": 0}, "revision is 0")],
)
def test_impossible_documents_are_refused_by_name(run, changes, message):
    with pytest.raises(ValueError, match=message):
        run(**changes)


def test_an_option_without_figures_is_refused_by_name(made, book):
    empty = replace(made.snapshot, performance=SimpleNamespace(draws=1, options=()))
    with pytest.raises(ValueError, match="no figures for the options all, walls"):
        proposal_context(empty, number="1", revision=1, issued_on=ISSUED, valid_until=VALID, firm=load_firm())


# --- the document ------------------------------------------------------------------------------------------------


def test_the_paper_says_everything_of_the_context(made, paper):
    written = said(paper)
    silent = {"id", "picture"}
    for name, value in made.context.items():
        if name == "contract":
            continue  # a switch, no words
        if name in ("walls",):
            value = [{key: item for key, item in wall.items() if key not in silent} for wall in value]
        for text in texts(value):
            for line in text.split("\n"):
                assert line in written, name


def test_the_same_figures_give_the_same_bytes(made, pictures, paper, tmp_path):
    again = write_proposal(tmp_path / "again.docx", made.context, pictures, issued_on=ISSUED)
    assert again.read_bytes() == paper.read_bytes()
    with zipfile.ZipFile(again) as package:
        assert {part.date_time for part in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_another_figure_gives_other_bytes(made, pictures, paper, tmp_path):
    other = write_proposal(tmp_path / "x.docx", {**made.context, "number": "P-0008"}, pictures, issued_on=ISSUED)
    assert other.read_bytes() != paper.read_bytes()


def test_words_of_people_stay_words(made, paper):
    document = Document(str(paper))
    assert "Wilhelmina O'Tarn {{ number }}" in said(paper)
    assert "North <wall> & co" in said(paper)
    assert document.core_properties.subject == "3 Larch & Fern Row"
    assert document.core_properties.title == "Proposal P-0007"


def test_pictures_are_spoken_and_within_the_page(made, paper):
    document = Document(str(paper))
    assert len(document.inline_shapes) == len(made.context["walls"])
    for shape in document.inline_shapes:
        assert shape.width.mm <= PICTURE_MM + 0.1
        assert shape._inline.docPr.get("descr").startswith("Elevation of ")


def test_a_wall_without_a_picture_is_still_told(made, tmp_path):
    bare = write_proposal(tmp_path / "bare.docx", made.context, {}, issued_on=ISSUED)
    assert len(Document(str(bare)).inline_shapes) == 0
    assert "Cementitious foam, injected, 3.5 in, R-13.7" in said(bare)


def test_tables_repeat_their_head_rows_are_not_split_and_margins_are_wide(paper):
    document = Document(str(paper))
    section = document.sections[0]
    for margin in (section.left_margin, section.right_margin, section.top_margin, section.bottom_margin):
        assert margin.mm >= 20
    heads = [table.rows[0]._tr.xpath("./w:trPr/w:tblHeader") for table in document.tables]
    # The cover block and the lines to sign on (contract, two notices) are no lists and have no head.
    assert [bool(head) for head in heads] == [False, *[True] * (len(heads) - 4), False, False, False]
    for table in document.tables:
        assert all(row._tr.xpath("./w:trPr/w:cantSplit") for row in table.rows)
    assert document.styles["Normal"].paragraph_format.widow_control
    footer = section.footer._element.xml
    assert " PAGE " in footer
    assert " NUMPAGES " in footer
    assert "P-0007, revision 2, 25 November 2026" in "".join(p.text for p in section.footer.paragraphs)
    headings = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert headings[0] == "What you told us"
    assert headings[-3:] == ["Agreement", "Notice of Cancellation", "Notice of Cancellation"]


def test_one_option_stands_alone_and_three_stand_side_by_side(run, tmp_path):
    for count in (1, 2, 3):
        options = tuple(OptionRecord(id=f"o{i}", name=f"Option {i}") for i in range(count))
        path = write_proposal(tmp_path / f"{count}.docx", run(house_record(options=options)).context, {})
        table = Document(str(path)).tables[1]
        assert [cell.text for cell in table.rows[0].cells] == ["", *(f"Option {i}" for i in range(count))]
        widths = [int(col.get(f"{{{table._tbl.nsmap['w']}}}w")) for col in table._tbl.tblGrid]
        assert sum(widths) == pytest.approx(171 / 25.4 * 1440, rel=0.01)


def test_an_empty_corner_of_the_house_leaves_no_empty_heading(run, tmp_path):
    house = house_record(complaints=(), walls=(), leak_sites=(), blower_door=None, options=())
    path = write_proposal(tmp_path / "attic.docx", run(house).context, {})
    headings = [p.text for p in Document(str(path)).paragraphs if p.style.name.startswith("Heading")]
    assert not {"What you told us", "The walls, drawn to scale", "Air sealing", "Not in this price"} & set(headings)
    assert "The attic" in headings


def test_characters_that_a_document_cannot_hold_are_dropped(made, tmp_path):
    context = {**made.context, "warranty": "Two years\ufffe on it.\x0b"}
    path = write_proposal(tmp_path / "odd.docx", context, {})
    assert "Two years on it." in said(path)


@pytest.mark.libreoffice
def test_the_paper_prints_with_numbered_pages(libreoffice, paper, tmp_path):
    copy = tmp_path / "proposal.docx"
    copy.write_bytes(paper.read_bytes())
    pages = [page.extract_text() for page in pypdf.PdfReader(write_pdf(copy)).pages]
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in " ".join(page.split())
        assert "Proposal P-0007, revision 2" in page
    assert "Cementitious foam" in "".join(pages)


# --- changed templates -------------------------------------------------------------------------------------------


@pytest.fixture
def changed(tmp_path):
    """Return a function that writes the template with a piece of its XML replaced."""

    def change(old: str, new: str, part: str = "word/document.xml") -> Path:
        """Every place where it stands: a name is missing only when it is gone everywhere."""
        kept = io.BytesIO()
        with zipfile.ZipFile(TEMPLATE) as source, zipfile.ZipFile(kept, "w") as target:
            for name in source.namelist():
                content = source.read(name)
                if name == part:
                    assert old.encode() in content
                    content = content.replace(old.encode(), new.encode())
                target.writestr(name, content)
        path = tmp_path / "changed.docx"
        path.write_bytes(kept.getvalue())
        return path

    return change


def test_the_template_of_the_firm_is_sound():
    assert check_template(TEMPLATE) == []


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("{{ warranty }}", "{{ waranty }}", "{{ waranty }} is not known. Did you mean warranty?"),
        ("{{ step.amount }}", "{{ step.amounts }}", "{{ payments.amounts }} is not known. Did you mean amount?"),
        ("{{ option.total }}", "", "The template does not show {{ options.total }}, the total of each option"),
        ("{{ option.tax }}", "", "The template does not show {{ options.tax }}, the sales tax of each option"),
        ("{{ clause.text }}", "", "The template does not show {{ terms.text }}, the text of each clause"),
        (
            "{{ cancellation }}",
            "",
            "The template does not show {{ cancellation }}, the statement of the right to cancel",
        ),
        (
            "{%p for notice in notices %}",
            "{%p for notice in notices[:1] %}",
            "The template does not show {{ notices.lines }}",
        ),
        ("{%p if contract %}", "{%p if payments %}", "The template does not show {{ contract }}, the condition"),
        ("{%p for line in cautions %}", "{%p for line in cause %}", "The template does not show {{ cautions }}"),
        ("{{ wall.foam }}", "{{ wall.margin }}", "{{ walls.margin }} is not known."),
        ("{{ wall.foam }}", "", "The template does not show {{ walls.foam }}, thickness and R-value"),
        ("{{ not_advice }}", "", "The template does not show {{ not_advice }}, the line that this is an estimate"),
        ("{%p for line in cause %}", "{%p for line in warranty %}", "{{ warranty }} is not a list"),
        ("{{ warranty }}", "{{ warranty", "A tag cannot be read:"),
        ("{{ warranty }}", "{%p if warranty %}", "A tag cannot be read:"),
        ("{{ warranty }}", "{{ warranty.__class__ }}", "{{ warranty.__class__ }} is not known."),
    ],
)
def test_a_broken_template_is_told_in_a_sentence_that_names_the_variable(changed, old, new, sentence):
    assert any(fault.startswith(sentence) for fault in check_template(changed(old, new)))


def test_every_needed_name_is_missed_when_it_is_gone(tmp_path):
    empty = tmp_path / "empty.docx"
    document = Document()
    document.add_paragraph("Nothing.")
    document.save(empty)
    faults = check_template(empty)
    assert len(faults) == len(NEEDED)
    for (name, what), fault in zip(NEEDED, faults, strict=True):
        assert fault == f"The template does not show {{{{ {name} }}}}, {what}. Put it back."


def test_a_footer_is_read_too(changed):
    faults = check_template(changed("{{ number }}", "{{ nummer }}", part="word/footer1.xml"))
    assert any("{{ nummer }} is not known" in fault for fault in faults)


@pytest.mark.parametrize("content", [b"", b"Dear customer", b"PK\x03\x04 not a zip"])
def test_a_file_that_is_no_document_is_told(tmp_path, content):
    path = tmp_path / "letter.docx"
    path.write_bytes(content)
    assert check_template(path) == ["The file is not a Word document (.docx). Save it as .docx and try again."]


def test_a_zip_that_is_no_document_is_told(tmp_path):
    path = tmp_path / "letter.docx"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("letter.txt", "Dear customer")
    assert check_template(path) == ["The file is not a Word document (.docx). Save it as .docx and try again."]


def test_an_unknown_name_stops_the_writing_and_leaves_no_file(changed, made, tmp_path):
    template = changed("{{ warranty }}", "{{ waranty }}")
    with pytest.raises(jinja2.UndefinedError, match="waranty"):
        write_proposal(tmp_path / "out" / "proposal.docx", made.context, {}, template)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "attack",
    ["{{ cause.__class__.__mro__ }}", "{{ ''.__class__.__base__.__subclasses__() }}", "{{ cause.append('x') }}"],
)
def test_a_template_cannot_reach_beyond_its_context(changed, made, tmp_path, attack):
    template = changed("{{ warranty }}", attack)
    try:
        written = said(write_proposal(tmp_path / "p.docx", made.context, {}, template))
    except jinja2.TemplateError:
        written = ""
    assert "class" not in written
    assert "x" not in made.context["cause"]


# --- words and firm ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("access", Access)
def test_every_way_in_is_told(access):
    assert words.ACCESSES[access].startswith("we ")


def test_every_material_and_leak_has_its_word():
    assert set(words.MATERIALS) == set(FillMaterial)
    assert set(words.LEAKS) == set(LeakKind)


def test_a_reason_not_foreseen_is_passed_on_whole():
    assert words.stop_reason("wiring has to be seen by an electrician") == "Wiring has to be seen by an electrician."


def test_the_firm_is_read_and_its_faults_are_named(tmp_path):
    assert load_firm().name == "Tamarack Hollow Insulation"
    path = tmp_path / "firm.toml"
    path.write_text('name = "X"\nemail = "nowhere"\nfax = "1"\n')
    with pytest.raises(BadRecord) as bad:
        load_firm(path)
    assert {fault.path for fault in bad.value.faults} == {
        "firm.email", "firm.fax", "firm.street", "firm.town", "firm.phone", "firm.licence", "firm.warranty",
        "firm.cladding_per_ft", "firm.plaster_per_ft2",
    }  # fmt: skip
    path.write_text("name = ")
    with pytest.raises(BadRecord, match="not valid TOML"):
        load_firm(path)
    with pytest.raises(BadRecord, match="no such file"):
        load_firm(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("18.50", "0", "firm.cladding_per_ft"),
        ("18.50", "18.505", "firm.cladding_per_ft: holds 18.505; enter dollars and whole cents"),
        ("14.25", '"much"', "firm.plaster_per_ft2"),
        ("14.25", "nan", "firm.plaster_per_ft2"),
    ],
)
def test_unit_prices_of_the_firm_are_dollars_and_whole_cents(tmp_path, old, new, message):
    path = tmp_path / "firm.toml"
    path.write_text(FIRM_FILE.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(BadRecord, match=message):
        load_firm(path)
