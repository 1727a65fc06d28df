"""Closed jobs, simulated through what crews report, teach their figures; the owner decides on each."""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from estimates.command import Conflict
from estimates.draws import FILL_EFFECT
from estimates.estimating import revision_create
from estimates.models import ActivityEntry, House, User
from estimates.price_books import price_book_of, price_book_publish
from estimates.pricebook import PriceBook, load_book
from estimates.proposals import proposal_draft
from jobs.booking import _write_phases, frozen_forms, job_move
from jobs.entries import entries_receive
from jobs.house_tests import promised_leakage
from jobs.job_walls import copy_walls
from jobs.learned import Lesson, lessons
from jobs.learning import Advice
from jobs.learning_choices import Word, choices_take, next_book, standing_of
from jobs.models import ChangeOrder, HouseTest, Job, JobStatus, LearnedChoice, PhaseKind

NOW = datetime(2026, 3, 11, 13, 0, tzinfo=UTC)
TRUE_HOURS, TRUE_YIELD, TRUE_EFFECT = 1.35, 21.4, 0.36
"""Hours over those estimated, ft3 a mix, share of the leakage that stops: what the simulated firm is like."""

SPREAD = {"hours": 0.15, "yield": 0.04, "effect": 0.05}

JOBS = ((-1.1, 0.35, 1.1), (-0.35, -1.1, -0.35), (0.35, 1.1, 0.35), (1.1, -0.35, -1.1))
"""Hours, yield and leakage of each job as standard deviations from the truth: spread as four draws are, mean nothing.
How often intervals hold the truth of drawn firms is tested in `test_learning`."""


@pytest.fixture
def book(owner: User) -> PriceBook:
    found = load_book("standard")
    price_book_publish(book=found, by=owner, now=NOW - timedelta(days=30))
    return found


@pytest.fixture
def job_again(estimated: Callable[..., Any], crew_on: Callable[..., Any], scheduler: User) -> Callable[[], Job]:
    """Return `job_again()`: one more house like that of the estimate, with its job and a crew; no papers."""
    revision = estimated("alder-foursquare")

    def make() -> Job:
        number = Job.objects.count() + 1
        house = House.objects.create(reference=f"again-{number}", name=f"Loom Row {number}", state="NY")
        again = revision_create(
            house=house,
            snapshot=revision.snapshot,
            price_book=revision.price_book,
            schema_version=revision.schema_version,
            engine_version=revision.engine_version,
            seed=1,
            price=Decimal("100.00"),
            cost=Decimal("50.00"),
            created_by=scheduler,
            now=NOW,
        )
        forms = json.loads(revision.snapshot)
        option = forms["estimate"]["options"][0]
        job = Job.objects.create(
            number=f"J-{number:05d}",
            proposal=proposal_draft(revision=again, by=scheduler, now=NOW),
            house=house,
            revision=again,
            option=option["id"],
            zone="America/New_York",
            booked_at=NOW,
            booked_by=scheduler,
        )
        copy_walls(job, forms, option)
        _write_phases(job, forms, option)
        crew_on(job)
        return job

    return make


def work(job: Job, crew: User, z: tuple[float, float, float], *, at: int) -> None:
    """Report a whole job: bays, mixes, hours by stretch, tests; then close it."""
    forms = frozen_forms(job)
    planned: dict[str, float] = {}
    for line in forms["estimate"]["options"][0]["lines"]:
        planned[line["code"]] = planned.get(line["code"], 0.0) + line["hours"]
    items: list[dict[str, Any]] = []
    factor = TRUE_HOURS * math.exp(z[0] * SPREAD["hours"])

    def say(kind: str, data: Any, wall: str = "") -> None:
        noted = (NOW + timedelta(minutes=len(items))).isoformat()
        items.append(
            {
                "code": str(uuid.uuid4()),
                "job": str(job.code),
                "wall": wall,
                "kind": kind,
                "data": data,
                "noted_at": noted,
            }
        )

    full = 0.0
    for wall in job.walls.filter(drawn=True):
        bays = list(wall.bays.filter(reachable=True, state="planned"))
        full += sum(bay.fill_ft3 for bay in bays)
        numbers = [{"bay": bay.number} for bay in bays]
        say("bay", {"state": "filled", "bays": numbers}, wall.key)
    whole = [(wall.key, bay.number) for wall in job.walls.filter(drawn=True)
             for bay in wall.bays.filter(reachable=True, state="planned")]  # fmt: skip
    waste = forms["price_book"]["foams"][0]["waste"]
    mixes = round(full * (1 + waste) / (TRUE_YIELD * math.exp(z[1] * SPREAD["yield"])))
    say("mix", {"lot": "A1", "ingredients_lb": 20, "water_gal": 5, "mixes": mixes,
                "bays": [{"wall": key, "bay": number} for key, number in whole]}, whole[0][0])  # fmt: skip
    hours = planned["wall"] * factor
    for stretch, part in (("prepare", 0.3), ("inject", 0.5), ("close_up", 0.2)):
        left = hours * part
        while left > 1e-9:
            say("hours", {"hours": round(min(left / 3, 24.0), 6), "people": 3, "stretch": stretch})
            left -= min(left / 3, 24.0) * 3
    say("hours", {"hours": planned["attic"] / 2, "people": 2, "stretch": "attic"})
    answers = entries_receive(user=crew, items=items, now=NOW + timedelta(hours=8))
    assert [answer["state"] for answer in answers] == ["received"] * len(items), answers
    promised = promised_leakage(job, forms)
    share = 1 - promised["after"]["p50"] / promised["before"]
    effect = TRUE_EFFECT + z[2] * SPREAD["effect"]
    out = promised["before"] * (1 - share * effect / FILL_EFFECT.best)
    HouseTest.objects.create(job=job, when="out", data={}, cfm50=out, cfm50_se=40.0, at=NOW, by=crew)
    job.refresh_from_db()
    for to in (JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED):
        if job.status != to:
            job = job_move(job=job, to=to, by=crew, now=NOW + timedelta(days=at))


def of(figure: str, found: tuple[Lesson, ...]) -> Lesson:
    return next(one for one in found if one.figure == figure)


def test_closed_jobs_teach_what_they_were_made_with_and_the_owner_decides_figure_by_figure(
    job_again: Callable[[], Job], crew: User, owner: User, book: PriceBook, django_assert_max_num_queries: Any
) -> None:
    jobs = [job_again() for _ in JOBS]
    for at, (job, z) in enumerate(zip(jobs, JOBS, strict=True), start=1):
        work(job, crew, z, at=at)
    with django_assert_max_num_queries(9):
        found = lessons(book, book)

    # D: the truth that the jobs were drawn with lies in the 80 % interval, and our own jobs outweigh the prior.
    crew_day = book.best("crew_size") * book.best("day_hours")
    walls = of("wall_drill_inside", found)
    truth = crew_day / book.best("wall_drill_inside") * TRUE_HOURS
    assert walls.found.jobs == 4
    assert walls.found.low <= truth <= walls.found.high
    assert walls.found.weight > 0.8
    assert walls.found.advice is Advice.CHANGE
    foam = of("yield:mineral-foam", found)
    assert foam.found.low <= TRUE_YIELD <= foam.found.high
    effect = of("leakage", found)
    assert effect.found.low <= TRUE_EFFECT <= effect.found.high
    assert not effect.in_book
    # Attics were blown in exactly the hours estimated: nothing is proposed.
    attic = of("attic_blowing", found)
    assert attic.found.advice is Advice.KEEP
    assert attic.found.mean == pytest.approx(2 / book.best("attic_blowing"), rel=1e-3)
    # Nobody reported tests or sealing: each job is named with the reason, and the prior stands.
    sealing = of("leak_work", found)
    assert (sealing.found.jobs, len(sealing.left_out)) == (0, 4)
    assert of("wall_lift_cladding", found).found.jobs == 0

    # A job whose work changed after it was signed says nothing of hours, and says so.
    ChangeOrder.objects.create(
        job=jobs[0], number=1, status="signed", reason="Block found", content={}, price=Decimal("10.00"),
        tax=Decimal(0), created_at=NOW, created_by=owner, issued_at=NOW, ended_at=NOW, content_sha256="a" * 64,
        signed_sha256="a" * 64, signed_name="Wren Halloran",
    )  # fmt: skip
    changed = of("wall_drill_inside", lessons(book, book))
    assert changed.found.jobs == 3
    assert (jobs[0].number, "the work changed after it was signed") in changed.left_out

    standing = standing_of("standard")
    assert standing is not None
    names = [one.figure for one in standing.proposed]
    assert "wall_drill_inside" in names
    assert "leakage" not in names, "what no price book holds is shown, never proposed for it"
    others = [name for name in names if name != "wall_drill_inside"]
    act: dict[str, Any] = {"name": "standard", "seen": standing.seen, "by": owner, "now": NOW + timedelta(days=20)}
    words = {"wall_drill_inside": Word(True), **{name: Word(False, "Two of them were odd.") for name in others}}
    act |= {"effective_from": date(2026, 4, 1), "words": words}

    with pytest.raises(ValidationError, match="Enter why you refuse it"):
        choices_take(**{**act, "words": {"wall_drill_inside": Word(False)}})
    with pytest.raises(Conflict, match="changed since you looked"):
        choices_take(**{**act, "seen": "x"})
    assert not LearnedChoice.objects.exists()

    rows, version = choices_take(**act)
    assert version is not None
    taken = price_book_of(version)
    assert taken.version == book.version + 1
    # By hand: a crew-day over the person-hours a square foot that were learned.
    learned = next(one for one in standing.proposed if one.figure == "wall_drill_inside").found
    assert taken.best("wall_drill_inside") == pytest.approx(crew_day / learned.mean, rel=5e-4)
    assert taken == next_book(
        book, [one for one in standing.proposed if one.figure == "wall_drill_inside"], effective_from=date(2026, 4, 1)
    )
    assert {rate.id for rate in taken.rates if rate not in book.rates} == {"wall_drill_inside"}
    assert taken.foams == book.foams
    assert ActivityEntry.objects.filter(action="price_book.learn").count() == len(rows) == len(words)
    assert LearnedChoice.objects.get(figure="wall_drill_inside").evidence == [job.number for job in jobs[:0:-1]]

    # The same form again writes nothing; what was accepted or refused is proposed no more.
    again, same = choices_take(**act)
    assert (len(again), same) == (len(rows), version)
    assert LearnedChoice.objects.count() == len(rows)
    after = standing_of("standard")
    assert after is not None
    assert after.proposed == ()
    assert of("wall_drill_inside", after.lessons).found.mean == pytest.approx(learned.mean, rel=1e-9), (
        "not learned twice"
    )


def test_hours_without_a_stretch_or_on_a_return_visit_teach_nothing(
    job_again: Callable[[], Job], crew: User, book: PriceBook
) -> None:
    job = job_again()
    items = [
        {"code": str(uuid.uuid4()), "job": str(job.code), "kind": "hours", "noted_at": NOW.isoformat(), "data": data}
        for data in ({"hours": 8, "people": 3}, {"hours": 2, "stretch": "inject"}, {"hours": 9, "stretch": "return"})
    ]
    assert {a["state"] for a in entries_receive(user=crew, items=items, now=NOW)} == {"received"}
    job.refresh_from_db()
    for to in (JobStatus.WORK_DONE, JobStatus.VERIFIED, JobStatus.CLOSED):
        job = job_move(job=job, to=to, by=crew, now=NOW)
    walls = of("wall_drill_inside", lessons(book, book))
    assert walls.left_out == ((job.number, "24 h were reported without a stretch of work"),)
    assert not job.phases.filter(kind=PhaseKind.RETURN).exists()
