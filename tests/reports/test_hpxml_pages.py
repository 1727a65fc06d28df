"""A house leaves as HPXML by its page, and a file of that kind begins an assessment, after a look at what it holds."""

import base64
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import hpxml_version_translator
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from lxml import etree

from estimates.assessments import assessment_from_record, assessment_to_record
from estimates.house import house_from_json
from estimates.models import Assessment, House, Role, User
from estimates.records import read_record
from reports.exports.hpxml import hpxml_xml

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
SENT = house_from_json((Path(__file__).resolve().parents[2] / "fixtures/houses/mill-cape.json").read_text())
FILE = hpxml_xml(SENT, written_at=NOON)


def upload(content: bytes) -> dict[str, SimpleUploadedFile]:
    return {"file": SimpleUploadedFile("house.xml", content, content_type="application/xml")}


CLIMATE = {
    "climate-place": "Fernmoor", "climate-source": "Normals", "climate-heating_degree_days": "5100",
    "climate-base_f": "60", "climate-season_mean_f": "35", "climate-season_wind_mph": "8", "climate-altitude_ft": "900",
}  # fmt: skip


def test_a_file_is_looked_at_completed_and_taken(
    house: House, salesperson: User, signed_in: Callable[[User], Client]
) -> None:
    client, page = signed_in(salesperson), reverse("reports-bring-hpxml", kwargs={"code": house.code})
    assert (
        "Begin with an HPXML file"
        in client.get(reverse("estimates-show-assessment", args=[house.code])).content.decode()
    )
    assert "Choose the HPXML file" in client.post(page, {}).content.decode()
    for bad in (b"no file", b"<HPXML/>", b"<!DOCTYPE x><HPXML/>"):
        answer = client.post(page, upload(bad)).content.decode()
        assert "<title>Error: Begin with a file" in answer
    assert Assessment.objects.count() == 0

    looked = client.post(page, upload(FILE)).content.decode()
    assert "4 walls, 1 attic, a blower-door test. Nothing is saved yet." in looked
    assert "covers all of the cavity, squeezed to 50%" in looked
    assert 'name="climate-heating_degree_days"' in looked, "what no such file holds is asked"
    assert Assessment.objects.count() == 0

    kept = {"take": "1", "kept": base64.b64encode(FILE).decode(), "heating-fuel": SENT.heating.fuel.value}
    kept["heating-efficiency"] = "85"
    short = client.post(page, kept | CLIMATE).content.decode()
    assert "<title>Error: Begin with a file" in short
    assert 'value="Fernmoor"' in short, "what was typed stays"
    taken = client.post(page, kept | CLIMATE | {"heating-price_per_unit": "1.45"})
    assert taken.status_code == 302
    row = Assessment.objects.get()
    record = assessment_to_record(row)
    assert (record.id, record.name, record.customer) == ("alder-lane", house.name, house.customer_name)
    assert record.climate.heating_degree_days == 5100
    assert record.attics[0].area_ft2 == pytest.approx(SENT.attics[0].area_ft2)
    assert {wall.id for wall in record.quick_walls} == {wall.id for wall in SENT.walls}
    assert client.post(page, kept | CLIMATE | {"heating-price_per_unit": "1.45"}).status_code == 302
    assert Assessment.objects.count() == 1, "a double tap begins no second assessment"
    assert client.get(page).status_code == 302, "an open assessment is not written over"


def test_the_house_leaves_as_a_file_that_the_standard_accepts(
    house: House, person: Callable[..., User], signed_in: Callable[[User], Client]
) -> None:
    page = reverse("reports-download-hpxml", kwargs={"code": house.code})
    client = signed_in(person(Role.SCHEDULER))
    told = client.get(page, follow=True).content.decode()
    assert "Nothing is measured here yet" in told
    form = json.loads((Path(__file__).resolve().parents[2] / "fixtures/houses/mill-cape.json").read_text())
    form |= {"id": house.reference, "name": house.name}
    owner = person(Role.OWNER)
    assessment_from_record(house=house, record=read_record(type(SENT), form), by=owner, now=NOON)
    answer = client.get(page)
    assert answer.headers["Content-Disposition"] == 'attachment; filename="alder-lane.hpxml.xml"'
    root = etree.fromstring(answer.content)
    # S: the schema of HPXML 4.2 as the package ships it.
    schema = Path(hpxml_version_translator.__file__).parent / "schemas" / "v4.2" / "HPXML.xsd"
    etree.XMLSchema(etree.parse(schema)).assertValid(root)
    costs = root.xpath("//*[local-name()='Cost' or local-name()='TotalCost']")
    assert costs == [], "whoever may not read prices finds none in the file"
