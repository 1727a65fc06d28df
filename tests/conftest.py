"""What every test shares: no network, one way to ask for an outside program, the browser's settings, the people."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
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
    from jobs.models import Crew, Job

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


# --- Jobs without papers ---------------------------------------------------------------------------------------------


@pytest.fixture
def bare_job(person: Callable[..., User]) -> Callable[..., Job]:
    """Return `bare_job(*phases, **fields)`: a job booked without a proposal's papers, in milliseconds.

    A phase is its kind, or its kind and the fields that differ from two people for eight hours.
    """
    import json
    from datetime import UTC, datetime
    from decimal import Decimal

    from estimates.estimating import revision_create
    from estimates.models import House
    from estimates.proposals import proposal_draft
    from jobs.models import Job, Phase

    now = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
    people: list[User] = []

    def make(*phases: Any, **fields: Any) -> Job:
        if not people:
            people.append(person("owner"))
        number = Job.objects.count() + 1
        house = House.objects.create(
            reference=f"bare-{number}",
            name=f"Kiln Row {number}",
            street=f"{number} Kiln Row",
            town="Fernhollow",
            state="NY",
            customer_name="Wren Halloran",
        )
        book = {
            "rates": [{"id": "price_valid", "best": 30}],
            "foams": [{"id": "f", "least_temp_f": 40, "drying_days": 2}],
        }
        frozen = {
            "n": number,
            "estimate": {"engine": "none", "house": house.reference, "options": []},
            "price_book": book,
        }
        revision = revision_create(
            house=house,
            snapshot=json.dumps(frozen),
            price_book="standard 1",
            schema_version="1",
            engine_version="none",
            seed=1,
            price=Decimal("100.00"),
            cost=Decimal("50.00"),
            created_by=people[0],
            now=now,
        )
        given = {"latitude": Decimal("42.44"), "longitude": Decimal("-76.50"), **fields}
        job = Job.objects.create(
            number=f"J-{number:05d}",
            proposal=proposal_draft(revision=revision, by=people[0], now=now),
            house=house,
            revision=revision,
            option="all",
            zone="America/New_York",
            booked_at=now,
            booked_by=people[0],
            **given,
        )
        for position, phase in enumerate(phases, start=1):
            kind, more = phase if isinstance(phase, tuple) else (phase, {})
            Phase.objects.create(
                job=job, kind=kind, position=position, **{"hours": Decimal(16), "least_people": 2, **more}
            )
        return job

    return make


@pytest.fixture
def bare_crew(scheduler: User) -> Callable[..., Any]:
    """Return `bare_crew(name, *skills, rigs=(), people=2)`: a crew of Mondays to Fridays, 8 to 16, since January."""
    from datetime import UTC, date, datetime
    from decimal import Decimal

    from jobs.crews import crew_save, worker_save

    act = {"by": scheduler, "now": datetime(2026, 1, 5, 14, 0, tzinfo=UTC)}

    def make(name: str, *skills: str, rigs: Any = (), people: int = 2) -> Any:
        members = [
            worker_save(worker=None, version=0, skills=skills, name=f"{name} {number}", hourly_cost=Decimal(50), **act)
            for number in range(1, people + 1)
        ]
        place = {"home_latitude": Decimal("42.44"), "home_longitude": Decimal("-76.50")}
        return crew_save(
            crew=None, version=0, members=members, rigs=rigs, today=date(2026, 1, 5), name=name, **place, **act
        )

    return make


@pytest.fixture
def measured_job(estimated: Callable[..., EstimateRevision], scheduler: User) -> Callable[..., Job]:
    """Return `measured_job(file name)`: a job of a measured house with walls, phases and gates, but without papers.

    It stands on the first option of the estimate; nobody signed it. Much quicker than `booked`.
    """
    from datetime import UTC, date, datetime

    from estimates.proposals import proposal_draft
    from jobs.booking import _write_phases, frozen_forms
    from jobs.job_walls import copy_walls
    from jobs.models import GateKind, Job, JobGate

    now = datetime(2026, 3, 9, 13, 30, tzinfo=UTC)

    def make(name: str = "alder-foursquare") -> Job:
        draft = proposal_draft(revision=estimated(name), by=scheduler, now=now)
        forms = frozen_forms(draft)
        option = forms["estimate"]["options"][0]
        job = Job.objects.create(
            number=f"J-{90000 + draft.pk}",
            proposal=draft,
            house=draft.house,
            revision=draft.revision,
            option=option["id"],
            zone="America/New_York",
            booked_at=now,
            booked_by=scheduler,
        )
        copy_walls(job, forms, option)
        _write_phases(job, forms, option)
        end = {"kind": GateKind.CANCELLATION, "name": GateKind.CANCELLATION.label, "met_on": date(2026, 3, 10)}
        JobGate.objects.create(job=job, **end)
        return job

    return make


@pytest.fixture
def crew_on(crew: User, scheduler: User) -> Callable[..., Crew]:
    """Return `crew_on(job, user=..., day=..., phase=..., hours=...)`: a crew of that person with a visit at a job.

    Without more it is the crew lead's, for injecting on Wednesday 11 March 2026 from eight on.
    """
    from datetime import date, datetime, timedelta
    from decimal import Decimal

    from jobs.models import Crew, CrewMember, PhaseKind, Visit, Worker

    def plan(job: Job, user: User | None = None, **changes: Any) -> Crew:
        who, day = user or crew, changes.get("day", date(2026, 3, 11))
        worker, _ = Worker.objects.get_or_create(
            user=who, defaults={"name": f"{who.full_name} {who.pk}", "hourly_cost": Decimal("31.50")}
        )
        member = CrewMember.objects.filter(worker=worker).select_related("crew").first()
        if member is None:
            place = {"home_latitude": Decimal("42.45"), "home_longitude": Decimal("-76.5")}
            member = CrewMember.objects.create(
                crew=Crew.objects.create(name=f"Crew of {worker.name}", lead=worker, **place),
                worker=worker,
                since=day - timedelta(days=30),
            )
        phase = job.phases.get(kind=changes.get("phase", PhaseKind.INJECT))
        Visit.objects.create(
            phase=phase,
            crew=member.crew,
            day=day,
            first_hour=changes.get("first_hour", 8),
            hours=changes.get("hours", 8),
            made_at=datetime.now().astimezone(),
            made_by=scheduler,
        )
        return member.crew

    return plan


# --- A firm with a history -------------------------------------------------------------------------------------------


@pytest.fixture
def firm_of(owner: User, salesperson: User, bare_crew: Callable[..., Any]) -> Callable[..., None]:
    """Return `firm_of(count, until=day, months=14)`: as many finished jobs, written straight into the tables.

    Each has its lead, contract, crew, hours, mixes, test after the work and postings; the figures differ by a fixed
    rule. For reports and for measuring them only: no service was asked.
    """
    from datetime import UTC, date, datetime, time, timedelta

    crews: list[Any] = []

    def write(count: int, until: date = date(2026, 5, 20), months: int = 14, batch: int = 5000) -> None:
        if not crews:
            crews.extend([bare_crew("North crew"), bare_crew("South crew", people=3)])
        for first in range(0, count, batch):
            days = [
                until - timedelta(days=1 + at * 30 * months // count) for at in range(first, min(first + batch, count))
            ]
            moments = [datetime.combine(day, time(15), UTC) for day in days]
            _write_jobs(moments, first, (owner, salesperson), crews)

    return write


def _write_jobs(moments: list[Any], first: int, sellers: tuple[User, User], crews: list[Any]) -> None:
    import json
    from datetime import timedelta
    from decimal import Decimal

    from estimates.models import EstimateRevision, House, Lead, LeadMove, LeadSource, Proposal
    from jobs import models as rows
    from jobs.ledger import account_of

    sources = [
        LeadSource.objects.get_or_create(name=name, defaults={"cost_per_lead": Decimal(cost)})[0]
        for name, cost in (("Yard signs", "12.00"), ("Church talks", "4.50"), ("Mailing", "38.00"))
    ]
    start = rows.Job.objects.count()
    numbers = range(start, start + len(moments))
    houses = House.objects.bulk_create(
        [
            House(reference=f"many-{n}", name=f"Kiln Row {n}", street=f"{n} Kiln Row", town="Fernhollow", state="NY",
                  customer_name="Wren Halloran")
            for n in numbers
        ]
    )  # fmt: skip
    revisions, signed = [], []
    for n, at, house in zip(numbers, moments, houses, strict=True):
        price = 800_000 + 37_000 * (n % 23)
        labour, material, other = price * 32 // 100, price * 16 // 100, price * 5 // 100
        parts = {"labour": labour, "material": material, "equipment": other, "travel": 0, "disposal": 0,
                 "contingency": 0}  # fmt: skip
        wall = {"id": "n", "kind": ("wall", "wall", "rim", "knee_wall")[n % 4]}
        line = {"code": "wall", "subject": "n", "quantity": 700.0, "direct_cost_parts_cents": parts}
        measures = [{"measure": "wall_injection", "price_cents": price}]
        measures += [{"measure": "attic_top_up", "price_cents": price}] if n % 3 == 0 else []
        option = {"id": "all", "price_cents": price, "direct_cost_cents": labour + material + other,
                  "commission_cents": price // 20, "discount_cents": 0, "lines": [line],
                  "measures": measures}  # fmt: skip
        after = {"p10": 1300.0 + 10 * (n % 31), "p50": 1400.0 + 10 * (n % 31), "p90": 1520.0 + 10 * (n % 31)}
        outcome = {"option_id": "all", "cfm50_after": after, "cfm50_before": 2350.0}
        text = json.dumps({"n": n, "estimate": {"options": [option]}, "performance": {"options": [outcome]},
                           "house": {"walls": [wall]}})  # fmt: skip
        signed.append(option)
        revisions.append(
            EstimateRevision(house=house, number=1, created_at=at, created_by=sellers[n % 2], price_book="standard 1",
                             schema_version="1", engine_version="none", seed=1, snapshot=text,
                             sha256=hashlib.sha256(text.encode()).hexdigest(), price=Decimal(price) / 100,
                             cost=Decimal(option["direct_cost_cents"]) / 100)
        )  # fmt: skip
    revisions = EstimateRevision.objects.bulk_create(revisions)
    sha256, sellers_of = "a" * 64, [sellers[n % 2] for n in numbers]
    proposals = Proposal.objects.bulk_create(
        [
            Proposal(number=f"P-{n:06d}", house=revision.house, revision=revision, revision_number=1, status="accepted",
                     created_at=at, created_by=seller, issued_at=at, issued_by=seller, valid_until=at.date(),
                     document_sha256=sha256, document_name="p.docx", accepted_at=at, accepted_option="all",
                     accepted_name="Wren", accepted_sha256=sha256)
            for n, at, revision, seller in zip(numbers, moments, revisions, sellers_of, strict=True)
        ]
    )  # fmt: skip
    leads = Lead.objects.bulk_create(
        [
            Lead(person=f"Wren {n}", phone="607-555-0142", state="NY", source=sources[n % 3],
                 cost=sources[n % 3].cost_per_lead, seller=seller,
                 stage=("won", "won", "lost", "proposed", "won")[n % 5], house=house,
                 lost_reason="price" if n % 5 == 2 else "", taken_at=at - timedelta(days=40))
            for n, at, house, seller in zip(numbers, moments, houses, sellers_of, strict=True)
        ]
    )  # fmt: skip
    LeadMove.objects.bulk_create(
        [
            LeadMove(lead=lead, stage=stage, at=lead.taken_at + timedelta(days=days), by=lead.seller)
            for n, lead in zip(numbers, leads, strict=True)
            for stage, days in (("proposed", 5), (lead.stage, 9 + n % 7))[: 1 if lead.stage == "proposed" else 2]
        ]
    )
    jobs = rows.Job.objects.bulk_create(
        [
            rows.Job(number=f"J-{n:06d}", proposal=proposal, house=proposal.house, revision=proposal.revision,
                     option="all", status="closed", zone="America/New_York", booked_at=at - timedelta(days=20),
                     booked_by=sellers[0], started_at=at - timedelta(days=3), done_at=at, verified_at=at, closed_at=at)
            for n, at, proposal in zip(numbers, moments, proposals, strict=True)
        ]
    )  # fmt: skip
    _write_work(numbers, moments, jobs, crews, sellers[0])
    _write_books(numbers, moments, jobs, signed, {key: account_of(key) for key in _BOOKS})


def _write_work(numbers: range, moments: list[Any], jobs: list[Job], crews: list[Any], by: User) -> None:
    from decimal import Decimal

    from jobs import models as rows

    every = list(zip(numbers, moments, jobs, strict=True))
    phases = rows.Phase.objects.bulk_create(
        [rows.Phase(job=job, kind="inject", position=1, hours=Decimal(24), status="done") for _, _, job in every]
    )
    rows.Phase.objects.bulk_create(
        [rows.Phase(job=job, kind="return", position=2, hours=Decimal(4), status="done")
         for n, _, job in every if n % 9 == 0]
    )  # fmt: skip
    # The last jobs of each batch still have work to come.
    waiting = rows.Phase.objects.bulk_create(
        [rows.Phase(job=job, kind="attic", position=3, hours=Decimal(20)) for _, _, job in every[:6]]
    )
    rows.Job.objects.filter(pk__in=[job.pk for job in jobs[:6]]).update(status="started", done_at=None, closed_at=None)
    rows.Visit.objects.bulk_create(
        [
            rows.Visit(phase=phase, crew=crews[n % 2], day=at.date(), first_hour=8, hours=8, made_at=at, made_by=by)
            for (n, at, _), phase in zip(every, phases, strict=True)
        ]
    )
    rows.Visit.objects.bulk_create(
        [
            rows.Visit(phase=phase, crew=crews[at % 2], day=moments[0].date() + _days(2 + 5 * at), first_hour=8,
                       hours=8, made_at=moments[0], made_by=by)
            for at, phase in enumerate(waiting)
        ]
    )  # fmt: skip
    walls = rows.JobWall.objects.bulk_create(
        [rows.JobWall(job=job, key="n", name="North", position=1, wall={}, room_share=1.0, foam_in=3.5, fill_ft3=180.0,
                      mixes=8.0) for job in jobs]
    )  # fmt: skip
    rows.Bay.objects.bulk_create(
        [rows.Bay(wall=wall, number=1, area_ft2=620.0 + 11 * (n % 13), fill_ft3=180.0, state="filled")
         for n, wall in zip(numbers, walls, strict=True)]
    )  # fmt: skip
    said = [
        rows.CrewEntry(job=job, phase=phase, kind=kind, data=data, day=at.date(), noted_at=at, received_at=at, by=by,
                       body_sha256="a" * 64)
        for (n, at, job), phase in zip(every, phases, strict=True)
        for kind, data in (
            ("hours", {"hours": 10.0 + n % 4, "people": 2}),
            ("mix", {"lot": f"L-{n // 12:02d}", "ingredients_lb": 160.0, "water_gal": 40.0, "bays": [{"bay": 1}],
                     "mixes": 8, "meter_ft3": 184.0 + (n % 5) - (40.0 if n % 37 == 20 else 0.0)}),
        )
    ]  # fmt: skip
    rows.CrewEntry.objects.bulk_create(said)
    rows.HouseTest.objects.bulk_create(
        [rows.HouseTest(job=job, when="out", data={}, cfm50=1330.0 + 10 * (n % 31) + 26 * (n % 9), cfm50_se=40.0, at=at,
                        by=by) for n, at, job in every]
    )  # fmt: skip


_BOOKS = ("bank", "receivable", "revenue", "cost_labour", "cost_material", "cost_equipment", "cost_call_back",
          "wages_payable", "stock", "payable", "commission", "commission_payable")  # fmt: skip


def _write_books(
    numbers: range, moments: list[Any], jobs: list[Job], signed: list[Any], accounts: dict[str, Any]
) -> None:
    from decimal import Decimal

    from jobs.models import Entry, Posting

    begin = Entry.objects.count()
    entries = Entry.objects.bulk_create(
        [Entry(number=begin + at, on=moment.date(), memo="Many", job=job, at=moment)
         for at, (moment, job) in enumerate(zip(moments, jobs, strict=True), start=1)]
    )  # fmt: skip
    postings = []
    for n, entry, option in zip(numbers, entries, signed, strict=True):
        parts, price = option["lines"][0]["direct_cost_parts_cents"], option["price_cents"]
        labour, material = parts["labour"] * (94 + n % 17) // 100, parts["material"] * (97 + n % 8) // 100
        back = 21_000 if n % 9 == 0 else 0
        paid = 0 if n % 11 == 0 else price
        amounts = {
            "bank": paid, "receivable": price - paid, "revenue": -price, "cost_labour": labour,
            "cost_material": material, "cost_equipment": parts["equipment"], "cost_call_back": back,
            "wages_payable": -labour - back, "stock": -material, "payable": -parts["equipment"],
            "commission": price // 20, "commission_payable": -(price // 20),
        }  # fmt: skip
        postings += [
            Posting(
                entry=entry, account=accounts[key], **{"debit" if cents > 0 else "credit": Decimal(abs(cents)) / 100}
            )
            for key, cents in amounts.items()
            if cents
        ]
    Posting.objects.bulk_create(postings)


def _days(count: int) -> Any:
    from datetime import timedelta

    return timedelta(days=count)
