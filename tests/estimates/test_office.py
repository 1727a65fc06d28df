"""PDF by LibreOffice: the real one where it is installed, small scripts in its place to misbehave."""

import os
import time
from pathlib import Path

import pypdf
import pytest
from docx import Document

from estimates import office


@pytest.fixture
def paper(tmp_path: Path) -> Path:
    path = tmp_path / "a paper.docx"
    document = Document()
    document.add_paragraph("Twelve bays were filled.")
    document.save(path)
    return path


@pytest.fixture
def played(tmp_path, monkeypatch):
    """Return a function that puts a script in the place of the office."""

    def play(script: str) -> None:
        program = tmp_path / "office" / "soffice"
        program.parent.mkdir()
        program.write_text("#!/bin/sh\n" + script)
        program.chmod(0o755)
        monkeypatch.setattr(office, "office_path", lambda: str(program))

    return play


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file())


@pytest.mark.libreoffice
def test_the_pdf_says_what_the_document_says(libreoffice, paper):
    made = office.write_pdf(paper)
    assert made == paper.with_suffix(".pdf")
    assert "Twelve bays were filled." in pypdf.PdfReader(made).pages[0].extract_text()
    assert files(paper.parent) == ["a paper.docx", "a paper.pdf"]


@pytest.mark.libreoffice
def test_many_documents_take_one_start(libreoffice, paper):
    other = paper.with_name("other.docx")
    other.write_bytes(paper.read_bytes())
    assert office.write_pdfs([other, paper]) == [other.with_suffix(".pdf"), paper.with_suffix(".pdf")]


def test_without_an_office_there_is_no_pdf(paper, monkeypatch):
    monkeypatch.setattr(office, "office_path", lambda: None)
    assert office.write_pdf(paper) is None
    assert files(paper.parent) == ["a paper.docx"]


def test_an_old_pdf_is_not_left_beside_a_new_document(paper, monkeypatch):
    paper.with_suffix(".pdf").write_bytes(b"%PDF-old")
    monkeypatch.setattr(office, "office_path", lambda: None)
    assert office.write_pdf(paper) is None
    assert files(paper.parent) == ["a paper.docx"]


def test_an_office_that_hangs_is_ended_with_its_children(paper, played, tmp_path):
    mark = tmp_path / "child"
    played(f"sleep 60 & echo $! > '{mark}'\nwait\n")
    began = time.monotonic()
    with pytest.raises(office.OfficeFailed, match="within 1 s"):
        office.write_pdf(paper, timeout_s=1)
    assert time.monotonic() - began < 10
    child = int(mark.read_text())
    for _ in range(50):
        if not _alive(child):
            break
        time.sleep(0.1)
    assert not _alive(child)
    assert files(paper.parent) == ["a paper.docx", "child"]


def _alive(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return False
        return not Path("/proc/self").exists()
    return state != "Z"


@pytest.mark.parametrize(
    "script",
    [
        "echo source file could not be loaded",
        'while [ "$1" != "--outdir" ]; do shift; done; mkdir -p "$2"; printf "%%PDF-1.7 half" > "$2/a paper.pdf"',
    ],
    ids=["nothing made", "half a file"],
)
def test_an_office_that_fails_says_so_and_leaves_nothing(paper, played, script):
    played(script + "\n")
    with pytest.raises(office.OfficeFailed, match="no PDF for a paper"):
        office.write_pdf(paper)
    assert files(paper.parent) == ["a paper.docx"]


def test_a_document_that_is_not_there_is_named(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"gone\.docx"):
        office.write_pdf(tmp_path / "gone.docx")


def test_two_documents_of_one_name_are_refused(paper, tmp_path):
    with pytest.raises(ValueError, match="same name"):
        office.write_pdfs([paper, tmp_path / "elsewhere" / paper.name])


@pytest.mark.parametrize("timeout_s", [0, -1, float("nan")])
def test_a_time_of_nothing_is_refused(paper, timeout_s):
    with pytest.raises(ValueError, match="timeout_s"):
        office.write_pdf(paper, timeout_s=timeout_s)
