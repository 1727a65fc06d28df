"""Papers of the demo houses: what they say, what keeps one from going out, and a template edited by others."""

from __future__ import annotations

import re
import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pypdf
import pytest
from docx import Document

from estimates.claims import paper_faults, savings_words
from estimates.docx_paper import text_of
from estimates.firm import load_firm
from estimates.house import HouseRecord, house_from_json
from estimates.office import write_pdf
from estimates.papers import PaperRefused, claim_faults, issue_faults, issue_house_proposal, write_house_proposal
from estimates.physics.units import parse_quantity
from estimates.pricebook import load_book
from estimates.proposal import TEMPLATE, check_template, proposal_context, write_proposal
from estimates.records import Fault
from estimates.snapshot import Snapshot, take_snapshot

HOUSES = Path(__file__).resolve().parents[2] / "fixtures" / "houses"
NAMES = sorted(path.stem for path in HOUSES.glob("*.json"))
ISSUED, VALID = date(2026, 11, 25), date(2026, 12, 25)
BOOK = load_book("standard")


def house(name: str) -> HouseRecord:
    return house_from_json((HOUSES / f"{name}.json").read_text(encoding="utf-8"), parse=parse_quantity)


def context_of(snapshot: Snapshot, **changes: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "number": "P-1",
        "revision": 1,
        "issued_on": ISSUED,
        "valid_until": VALID,
        "firm": load_firm(),
    }
    return proposal_context(snapshot, **(given | changes))


@pytest.fixture(scope="module")
def snapshot() -> Callable[[str], Snapshot]:
    """Return a function: name of a demo house -> its snapshot, worked out once."""
    made: dict[str, Snapshot] = {}

    def take(name: str) -> Snapshot:
        if name not in made:
            made[name] = take_snapshot(house(name), BOOK)
        return made[name]

    return take


@pytest.fixture
def small_house(snapshot: Callable[[str], Snapshot], settings: Any, tmp_path: Path) -> Snapshot:
    """Return the snapshot of a house that may be issued, with a data folder of its own for the pictures."""
    settings.VAR_DIR = tmp_path / "var"
    found = snapshot("skillet-ranch")
    assert issue_faults(found) == ()
    return found


@pytest.mark.parametrize("name", NAMES)
def test_papers_say_of_insulation_only_what_the_sheets_list(name: str, snapshot: Any, tmp_path: Path) -> None:
    # S: 16 CFR 460.19 and 460.20, by `claims`.
    taken = snapshot(name)
    text = text_of(write_proposal(tmp_path / "p.docx", context_of(taken), {}))
    said = savings_words(taken.rules, taken.under.places, on=taken.under.priced_on)
    assert paper_faults(text, taken.book.foam, taken.book.loose_fill, savings_text=said) == ()
    assert text.count("Savings vary.") == 1
    assert " saved" in text


@pytest.mark.parametrize("name", NAMES)
def test_papers_name_no_record_and_no_empty_list(name: str, snapshot: Any, tmp_path: Path) -> None:
    text = text_of(write_proposal(tmp_path / "p.docx", context_of(snapshot(name)), {}))
    assert not re.search(r"[a-z]_[a-z]", text)
    assert "None" not in text.replace("None of", "")
    assert not re.search(r"\bstopped by\b|\{\{|\{%|  +\.|\(\)|: \.", text)


@pytest.mark.parametrize("name", NAMES)
def test_what_a_gate_stops_is_named_and_not_priced(name: str, snapshot: Any) -> None:
    taken = snapshot(name)
    left = {part["name"]: part["reason"] for part in context_of(taken)["not_in_price"]}
    for wall in taken.takeoff.walls:
        if wall.stops:
            assert left[wall.wall.name]
    for attic in taken.takeoff.attics:
        if attic.stops:
            assert left[attic.attic.name]


# --- issued papers -----------------------------------------------------------------------------------------------


def test_an_issued_paper_is_the_one_that_is_written(small_house: Snapshot, tmp_path: Path) -> None:
    days = {"revision": 1, "issued_on": ISSUED, "signed_on": ISSUED}
    issued = issue_house_proposal(small_house, tmp_path / "issued.docx", **days)
    written = write_house_proposal(small_house, tmp_path / "written.docx", **days)
    assert issued.read_bytes() == written.read_bytes()
    text = text_of(issued)
    # PRODUCT P7: Wed 2026-11-25 -> Mon 11-30 (D: counted on the calendar), in both copies.
    assert text.count("NOT LATER THAN MIDNIGHT OF 30 November 2026") == 2


def refused(snapshot: Snapshot, path: Path, **more: Any) -> list[str]:
    with pytest.raises(PaperRefused) as caught:
        issue_house_proposal(snapshot, path, revision=1, issued_on=ISSUED, **more)
    assert not path.exists()
    return [str(fault) for fault in caught.value.faults]


def test_a_required_clause_without_words_keeps_the_paper_from_going_out(small_house: Snapshot, tmp_path: Path) -> None:
    other = take_snapshot(replace(small_house.house, state="CA", county=""), BOOK)
    (fault,) = refused(other, tmp_path / "p.docx")
    assert fault.startswith("clauses.lien_notice: missing; add it.")
    # It can still be written, as what it is.
    paper = write_house_proposal(other, tmp_path / "p.docx", revision=1, issued_on=ISSUED)
    assert "Preliminary: this paper is no contract" in text_of(paper)


def test_open_gates_keep_the_paper_from_going_out(small_house: Snapshot, tmp_path: Path) -> None:
    asked = take_snapshot(replace(small_house.house, gate_answers=(), gate_releases=()), BOOK)
    faults = refused(asked, tmp_path / "p.docx")
    assert any(fault.startswith("gates.asbestos: not answered; answer it") for fault in faults)


def test_a_broken_template_keeps_the_paper_from_going_out(
    small_house: Snapshot, tmp_path: Path, edited: Callable[..., Path]
) -> None:
    faults = refused(small_house, tmp_path / "p.docx", template=edited("{{ option.total }}", "{{ option.sum }}"))
    assert any("{{ options.sum }} is not known" in fault for fault in faults)
    assert any("does not show {{ options.total }}" in fault for fault in faults)


def test_a_template_that_praises_insulation_by_the_inch_is_refused(
    small_house: Snapshot, tmp_path: Path, edited: Callable[..., Path]
) -> None:
    # S: 16 CFR 460.20.
    faults = refused(
        small_house, tmp_path / "p.docx", template=edited("{{ warranty }}", "{{ warranty }} Our foam: R-3.9 per inch.")
    )
    assert faults == [
        "paper: 'R-3.9 per inch': gives an R-value per inch; give the R-value and the thickness of one line of the "
        "fact sheet"
    ]


def test_payments_beyond_a_cap_are_named_with_their_option(small_house: Snapshot) -> None:
    (offer,) = small_house.offers
    high = replace(offer, faults=(Fault("steps.deposit", "too much; enter less"),))
    (found,) = issue_faults(replace(small_house, offers=(high,)))
    assert str(found) == "options.all.steps.deposit: too much; enter less"


def test_a_paper_is_read_whole_for_what_it_may_not_say(small_house: Snapshot, tmp_path: Path) -> None:
    paper = write_house_proposal(small_house, tmp_path / "p.docx", revision=1, issued_on=ISSUED)
    assert claim_faults(small_house, paper) == ()
    document = Document(str(paper))
    document.sections[0].footer.paragraphs[0].add_run(" Total R of 44")
    document.save(str(paper))
    (fault,) = claim_faults(small_house, paper)
    assert str(fault).startswith("paper: 'Total R'")


# --- a template edited by others -----------------------------------------------------------------------------------


@pytest.fixture
def edited(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes the template with a piece of its text replaced."""

    def edit(old: str, new: str) -> Path:
        path = tmp_path / "edited.docx"
        with zipfile.ZipFile(TEMPLATE) as source, zipfile.ZipFile(path, "w") as target:
            for name in source.namelist():
                content = source.read(name)
                if name == "word/document.xml":
                    assert old.encode() in content
                    content = content.replace(old.encode(), new.encode())
                target.writestr(name, content)
        return path

    return edit


@pytest.mark.libreoffice
def test_a_template_saved_by_a_word_processor_still_checks_and_fills(
    libreoffice: str, snapshot: Any, tmp_path: Path
) -> None:
    saved = tmp_path / "saved"
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    subprocess.run(
        [libreoffice, profile, "--headless", "--convert-to", "docx", "--outdir", str(saved), str(TEMPLATE)],
        check=True,
        capture_output=True,
        timeout=120,
    )
    template = saved / "proposal.docx"
    assert template.read_bytes() != TEMPLATE.read_bytes()
    assert check_template(template) == []
    context = context_of(snapshot("mill-cape"))
    ours, theirs = (
        # Numbers of pages are kept as each program last counted them.
        re.sub(r"Page \d+ of \d+", "Page", text_of(paper)).split()
        for paper in (
            write_proposal(tmp_path / "ours.docx", context, {}),
            write_proposal(tmp_path / "theirs.docx", context, {}, template),
        )
    )
    assert theirs == ours


@pytest.mark.libreoffice
def test_notices_stand_on_the_last_two_pages_alone_and_no_page_is_empty(
    libreoffice: str, snapshot: Any, tmp_path: Path
) -> None:
    paper = write_proposal(tmp_path / "p.docx", context_of(snapshot("alder-foursquare")), {})
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(write_pdf(paper)).pages]
    assert [("Notice of Cancellation Copy" in page) for page in pages] == [False] * (len(pages) - 2) + [True, True]
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        assert "P-1, revision 1, 25 November 2026" in page
        assert len(page) > 300, page
    (signing,) = [page for page in pages if "Date of this transaction" in page]
    assert "You, the buyer, may cancel" in signing
    assert "I have read this proposal" in signing
