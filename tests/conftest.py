"""What every test shares: no network, one way to ask for an outside program, the browser's settings, the people."""

from __future__ import annotations

import dataclasses
import functools
import os
import shutil
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import pytest_socket
from hypothesis import settings

if TYPE_CHECKING:
    from django.test import Client

    from estimates.models import EstimateRevision, House, PrivateLink, Proposal, User
    from estimates.snapshot import Snapshot
    from jobs.models import Job

# The browser's driver runs an event loop in the test's thread; Django then refuses to touch the database, although
# nothing in the tests is concurrent with it.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

STRICT = os.environ.get("CAVITYBOOK_STRICT", "").lower() not in ("", "0", "no", "false", "off")
"""Under CI a missing browser, office or database server is a failure; at a desk it is a skip."""

HOUSES = Path(__file__).resolve().parent.parent / "fixtures" / "houses"

POSTGRESQL_PLACES = "/usr/lib/postgresql/*/bin"

# A slow machine is not a wrong result, so no example has a time limit; CI tries the same examples every time.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") or STRICT else "desk")


# --- Network ---------------------------------------------------------------------------------------------------------


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Let a test speak to this machine only."""
    pytest_socket.socket_allow_hosts(["127.0.0.1", "::1", "localhost"], allow_unix_socket=True)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let tests/reference write what every check compared; `manage.py methods` shows it."""
    parser.addoption("--checks", metavar="FILE", help="write the checks of tests/reference with their worst deviations")


# --- Outside programs ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def need() -> Callable[[str | Path | None, str], str]:
    """Return `need(found, sentence)`: the program that was found; without one the test skips, or fails under CI."""

    def ask(found: str | Path | None, sentence: str) -> str:
        if found:
            return str(found)
        if STRICT:
            pytest.fail(f"{sentence} (CAVITYBOOK_STRICT is set, so this is a failure)", pytrace=False)
        pytest.skip(sentence)

    return ask


@pytest.fixture(scope="session")
def chromium(need: Callable[[str | None, str], str]) -> str:
    """Path of the browser."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    return need(found, "Chromium is not installed: apt-get install chromium")


@pytest.fixture(scope="session")
def libreoffice(need: Callable[[str | None, str], str]) -> str:
    """Path of LibreOffice."""
    found = shutil.which("soffice") or shutil.which("libreoffice")
    return need(found, "LibreOffice is not installed: apt-get install libreoffice-writer libreoffice-calc")


@pytest.fixture(scope="session")
def postgresql(need: Callable[[Path | None, str], str]) -> str:
    """Folder of the programs of the PostgreSQL server (initdb, pg_ctl, ...), newest version."""
    on_path = shutil.which("initdb")
    places = [Path(on_path).parent] if on_path else sorted(Path("/").glob(POSTGRESQL_PLACES.lstrip("/")), key=_version)
    return need(places[-1] if places else None, "PostgreSQL is not installed: apt-get install postgresql")


def _version(place: Path) -> float:
    """Return the version number in a folder such as postgresql/15/bin."""
    try:
        return float(place.parent.name)
    except ValueError:
        return 0.0


# --- Browser ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any], chromium: str) -> dict[str, Any]:
    """Start the system's own browser, quiet and without a sandbox (CI runs as root)."""
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
    flags += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
    return {**browser_type_launch_args, "executable_path": chromium, "args": flags}


# --- People ----------------------------------------------------------------------------------------------------------
# Named people of one small firm. `stranger` signs in as well, but stands on no crew and may know of nothing.


@pytest.fixture
def person(db: None) -> Callable[..., User]:
    """Make a user in a role; nobody can sign in with a password unless one is given."""

    from estimates.models import User

    def make(role: str, name: str = "", password: str | None = None) -> User:
        tag = uuid.uuid4().hex[:8]
        return User.objects.create_user(
            email=f"{role}-{tag}@cavitybook.test",
            full_name=name or f"{role.title()} {tag}",
            role=role,
            password=password,
        )

    return make


@pytest.fixture
def owner(person: Callable[..., User]) -> User:
    return person("owner", "Odile Marrow")


@pytest.fixture
def salesperson(person: Callable[..., User]) -> User:
    return person("salesperson", "Selwyn Tarn")


@pytest.fixture
def scheduler(person: Callable[..., User]) -> User:
    return person("scheduler", "Chesna Dray")


@pytest.fixture
def crew(person: Callable[..., User]) -> User:
    return person("crew", "Corin Latham")


@pytest.fixture
def bookkeeper(person: Callable[..., User]) -> User:
    return person("bookkeeper", "Bettany Quill")


@pytest.fixture
def stranger(person: Callable[..., User]) -> User:
    return person("crew", "Stellan Vey")


@pytest.fixture
def signed_in() -> Callable[[User], Client]:
    """Give a browser in which somebody is signed in."""

    from django.test import Client

    def browse(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return browse


@pytest.fixture
def house(db: None) -> House:
    from estimates.models import House

    return House.objects.create(
        reference="alder-lane",
        name="Alder Lane 12",
        street="12 Alder Lane",
        town="Fernhollow",
        state="NY",
        postal_code="12345",
        customer_name="Wren Halloran",
    )


# --- Estimated houses ------------------------------------------------------------------------------------------------
# The measured houses of fixtures/houses, brought in as the demo does it.


@pytest.fixture
def estimated(owner: User) -> Callable[..., EstimateRevision]:
    """Return `estimated(file name, **changes)`: brings a measured house, fields replaced, and freezes its estimate."""
    from datetime import UTC, datetime

    from reports.scenario import estimate_load

    def bring(name: str, /, **changes: Any) -> EstimateRevision:
        snapshot = _snapshot(name, tuple(sorted(changes.items())))
        return estimate_load(snapshot=snapshot, by=owner, now=datetime(2026, 3, 2, 14, 30, tzinfo=UTC))

    return bring


@functools.lru_cache(maxsize=64)
def _snapshot(name: str, changes: tuple[tuple[str, Any], ...]) -> Snapshot:
    from estimates.house import house_from_json
    from estimates.pricebook import load_book
    from estimates.snapshot import take_snapshot

    measured = house_from_json((HOUSES / f"{name}.json").read_text(encoding="utf-8"))
    return take_snapshot(dataclasses.replace(measured, **dict(changes)), load_book("standard"), seed=1)


# --- Proposals that are out ------------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Out:
    """A proposal that went out: itself, its link, the token and the address of its page."""

    proposal: Proposal
    link: PrivateLink
    token: str
    address: str


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder in which drawings are kept for the whole run: making them takes most of the time of a paper."""
    return tmp_path_factory.mktemp("pictures")


@pytest.fixture
def papers_folder(settings: Any, pictures: Path, tmp_path: Path) -> None:
    """A folder of its own for the documents of a test."""
    settings.VAR_DIR, settings.DOCUMENTS_DIR = pictures, tmp_path / "documents"


@pytest.fixture
def send(estimated: Callable[..., EstimateRevision], salesperson: User, papers_folder: None) -> Callable[..., Out]:
    """Return `send(file name, at=..., house=..., **terms)`: issues the proposal of a measured house.

    Without a time it is sent on the evening of Friday 6 March 2026.
    """
    from datetime import UTC, datetime, timedelta

    from django.utils import timezone

    from estimates.issuing import proposal_send
    from estimates.links import link_token
    from estimates.models import Proposal
    from estimates.proposal_look import Terms, proposal_look
    from estimates.proposals import proposal_draft

    def issued(name: str = "mill-cape", **changes: Any) -> Out:
        at = changes.pop("at", datetime(2026, 3, 6, 23, 30, tzinfo=UTC))
        draft = proposal_draft(revision=estimated(name, **changes.pop("house", {})), by=salesperson, now=at)
        on = timezone.localtime(at).date()
        given = {"valid_until": on + timedelta(days=20), "mail_to": "wren@example.org", **changes}
        terms = Terms(**given)
        link = proposal_send(
            proposal=draft,
            terms=terms,
            seen=proposal_look(draft, terms, on=on).seen,
            site="http://testserver",
            by=salesperson,
            now=at,
            on=on,
        )
        token = link_token(link)
        return Out(Proposal.objects.get(pk=draft.pk), link, token, f"/yours/{token}/")

    return issued


@pytest.fixture
def booked(send: Callable[..., Out], scheduler: User) -> Callable[..., Job]:
    """Return `booked(file name, option=..., **terms)`: a house signed on Friday 6 March 2026, booked on Monday."""
    from datetime import timedelta

    from estimates.answers import fact_sheets_read, proposal_answer_yes
    from estimates.models import ProposalPaper
    from jobs.booking import job_book

    def book(name: str = "mill-cape", **changes: Any) -> Job:
        option = changes.pop("option", None)
        out = send(name, **changes)
        at = out.proposal.issued_at
        assert at is not None
        fact_sheets_read(proposal=out.proposal, now=at)
        content = ProposalPaper.objects.get(proposal=out.proposal).content
        signed = proposal_answer_yes(
            proposal=out.proposal,
            option=option or content["options"][0]["id"],
            typed_name="Wren Halloran",
            document_sha256=out.proposal.document_sha256,
            electronic=True,
            acknowledged=range(len(content["acknowledgements"])),
            now=at,
        )
        return job_book(proposal=signed, by=scheduler, now=at + timedelta(days=2, hours=14))

    return book
