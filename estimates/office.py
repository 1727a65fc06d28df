"""PDF of a document by LibreOffice, where it is installed."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from estimates.filing import write_whole

TIMEOUT_S = 120.0
"""Longest wait for one start of the office. [s] A cold start takes about 2 s, a paper about 0.4 s."""


class OfficeFailed(RuntimeError):
    """The office is installed but gave no PDF; the text says why."""


def office_path() -> str | None:
    """Path of the office program, None where there is none."""
    return shutil.which("soffice") or shutil.which("libreoffice")


def write_pdf(docx_path: Path, *, timeout_s: float = TIMEOUT_S) -> Path | None:
    """Write the PDF of a document beside it.

    Parameters
    ----------
    docx_path : an existing document.
    timeout_s : longest wait. [s], > 0

    Returns
    -------
    Path of the PDF, or None where no office is installed. An older PDF of that name is gone in either case, lest it be
    taken for the new one.

    Raises
    ------
    FileNotFoundError : no such document.
    OfficeFailed : the office took too long or gave no PDF; nothing is left behind.
    """
    written = write_pdfs([docx_path], timeout_s=timeout_s)
    return written[0] if written else None


def write_pdfs(docx_paths: Sequence[Path], *, timeout_s: float = TIMEOUT_S) -> list[Path]:
    """Write the PDF of each document beside it, with one start of the office for all.

    Parameters
    ----------
    docx_paths : existing documents, no two of the same name.
    timeout_s : longest wait for all of them. [s], > 0

    Returns
    -------
    Paths of the PDFs in the same order; none where no office is installed.

    Raises
    ------
    FileNotFoundError : no such document.
    ValueError : two documents share a name, or the time is not above 0.
    OfficeFailed : the office took too long or left one of them out; nothing is left behind.
    """
    if not timeout_s > 0:
        raise ValueError(f"timeout_s is {timeout_s!r}; enter a time above 0 s")
    if len({path.stem for path in docx_paths}) < len(docx_paths):
        raise ValueError("two documents have the same name; write their PDFs one by one")
    for path in docx_paths:
        if not path.is_file():
            raise FileNotFoundError(f"no document {path.name} to make a PDF of")
        path.with_suffix(".pdf").unlink(missing_ok=True)
    program = office_path()
    if program is None or not docx_paths:
        return []
    with tempfile.TemporaryDirectory(prefix="office-") as room:
        # A profile of its own: an office that someone has open would take the call, and do it in its own time.
        made, profile = Path(room) / "made", Path(room) / "profile"
        command = [
            program, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--norestore", "--nolockcheck",
            "--convert-to", "pdf", "--outdir", str(made), *(str(path.resolve()) for path in docx_paths),
        ]  # fmt: skip
        said = _run(command, timeout_s)
        found = {path: _pdf(made / f"{path.stem}.pdf", said) for path in docx_paths}
    for path, content in found.items():
        write_whole(path.with_suffix(".pdf"), content)
    return [path.with_suffix(".pdf") for path in docx_paths]


def _run(command: list[str], timeout_s: float) -> str:
    """Run to the end or to the time limit; what was started is gone afterwards, children as well."""
    with subprocess.Popen(  # noqa: S603 - the program is the installed office, the paths are our own
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    ) as process:
        try:
            said, _ = process.communicate(timeout=timeout_s)
        except subprocess.TimeoutExpired:
            raise OfficeFailed(f"the office gave no PDF within {timeout_s:g} s; try again or send the .docx") from None
        finally:
            # The program is a wrapper; its child would otherwise live on.
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
    return said.decode(errors="replace").strip()


def _pdf(made: Path, said: str) -> bytes:
    content = made.read_bytes() if made.is_file() else b""
    # A PDF ends with its mark; one that was cut off does not.
    if not content.startswith(b"%PDF-") or b"%%EOF" not in content[-64:]:
        raise OfficeFailed(f"the office gave no PDF for {made.stem}: {said or 'it said nothing'}")
    return content
