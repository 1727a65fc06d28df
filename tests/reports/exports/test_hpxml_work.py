"""A priced option leaves with the quantities, prices and data-sheet values that it was sold by."""

import dataclasses
from datetime import UTC, date, datetime
from decimal import Decimal
from io import StringIO
from pathlib import Path

import hpxml_version_translator
import pytest
from django.core.management import CommandError, call_command
from lxml import etree

from estimates.house import GateAnswerRecord, Verdict, house_from_json
from estimates.pricebook import load_book
from estimates.snapshot import Snapshot, take_snapshot
from reports.exports.hpxml_words import NAMESPACE
from reports.exports.hpxml_work import snapshot_hpxml, snapshot_work

HOUSE = Path(__file__).resolve().parents[3] / "fixtures" / "houses" / "alder-foursquare.json"
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
N = {"h": NAMESPACE}


@pytest.fixture(scope="module")
def snapshot() -> Snapshot:
    return take_snapshot(house_from_json(HOUSE.read_text(encoding="utf-8")), load_book("standard"))


def read(raw: bytes) -> etree._Element:
    root = etree.fromstring(raw)
    folder = Path(hpxml_version_translator.__file__).parent / "schemas" / "v4.2"
    etree.XMLSchema(etree.parse(folder / "HPXML.xsd")).assertValid(root)
    return root


def test_the_measures_cost_what_their_lines_cost_and_lines_of_the_job_are_in_none(snapshot):
    root = read(snapshot_hpxml(snapshot, written_at=NOON))
    measures = root.findall("h:Project/h:ProjectDetails/h:Measures/h:Measure", N)
    costs = [int(Decimal(measure.findtext("h:Cost", None, N)) * 100) for measure in measures]
    lines = snapshot.options[0].lines
    assert costs == [line.price_cents for line in lines if line.subject]
    assert sum(costs) + sum(line.price_cents for line in lines if not line.subject) == snapshot.options[0].price_cents
    assert root.findtext("h:Project/h:ProjectDetails/h:Title", None, N) == snapshot.options[0].option.name


def test_foam_and_loose_fill_bear_the_line_of_their_own_data_sheet(snapshot):
    after = read(snapshot_hpxml(snapshot, written_at=NOON, done_on=date(2026, 4, 9))).findall(
        "h:Building/h:BuildingDetails/h:Enclosure", N
    )[1]
    listed = {(row.thickness_in, row.r) for row in snapshot.book.foam.facts}
    foam = after.xpath(".//h:Layer[h:InsulationMaterial/h:Other]", namespaces=N)
    assert len(foam) == len(snapshot.takeoff.walls)
    for layer in foam:
        thick, r = (float(layer.findtext(f"h:{name}", None, N)) for name in ("Thickness", "NominalRValue"))
        # D: the largest listed thickness that is not above what is there.
        assert (max(t for t, _ in listed if t <= thick), r) in listed
    rows = {(row.settled_in, row.r) for row in snapshot.book.loose_fill.coverage}
    new = after.xpath(".//h:Floor//h:Layer", namespaces=N)[-1]
    assert (float(new.findtext("h:Thickness", None, N)), float(new.findtext("h:NominalRValue", None, N))) in rows


def test_the_leakage_after_is_the_best_estimate_of_the_option(snapshot):
    root = read(snapshot_hpxml(snapshot, written_at=NOON))
    flows = [float(node.text) for node in root.findall(".//h:BuildingAirLeakage/h:AirLeakage", N)]
    performance = snapshot.performance.options[0]
    assert flows == pytest.approx([performance.cfm50_before, performance.cfm50_after.p50], rel=1e-8)
    assert flows[1] < flows[0]


def test_a_wall_that_a_gate_stops_is_no_work():
    house = house_from_json(HOUSE.read_text(encoding="utf-8"))
    stop = GateAnswerRecord(
        hazard="pipe_in_wall", verdict=Verdict.STOP, answered_on=date(2026, 2, 1), parts=("left",), note="A gas pipe."
    )
    answers = tuple(answer for answer in house.gate_answers if answer.hazard != "pipe_in_wall")
    stopped = dataclasses.replace(house, gate_answers=(*answers, stop))
    parts = {work.part for work in snapshot_work(take_snapshot(stopped, load_book("standard")))}
    assert "left" not in parts
    assert {"front", "back", "right"} <= parts


def test_the_command_prices_by_the_book_it_is_told(tmp_path):
    out = tmp_path / "house.xml"
    call_command("house_hpxml", str(HOUSE), out=out, price_book="standard", stdout=StringIO())
    assert read(out.read_bytes()).findtext("h:Project/h:ProjectDetails/h:Measures/h:Measure/h:Cost", None, N)
    said = StringIO()
    with pytest.raises(CommandError) as refused:
        call_command("house_hpxml", str(HOUSE), out=tmp_path / "x", price_book="none", stdout=StringIO(), stderr=said)
    assert refused.value.returncode == 2
    assert "none" in said.getvalue()
