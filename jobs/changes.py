"""Change orders (rule L2): drafted, issued as frozen words, signed or declined by the homeowner, or withdrawn.

Work on a change waits for the signature. An emergency may begin at once, with a note; unless it is signed by its last
day it is not billable.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.firm import load_firm
from estimates.issuing import current_link
from estimates.mail import LINK, letter_add
from estimates.models.paper import ProposalPaper
from estimates.models.proposal import ProposalStatus
from estimates.models.user import User
from estimates.money import format_money, from_cents
from estimates.proposal_words import long_date
from estimates.snapshot import canonical_json
from jobs.change_effect import ChangeEffect, ChangeLine, change_effect, price_as_found
from jobs.models import ChangeOrder, ChangeStatus, Job, JobStatus
from jobs.models.change_order import CHANGE_MOVES

AS_FOUND = "The walls were found otherwise than they were measured."
"""Reason of a change order that was worked out from walls as found."""


class ChangedMeanwhile(Conflict):
    """Somebody else changed the draft after it was looked at."""


def lines_of(change: ChangeOrder) -> tuple[ChangeLine, ...]:
    """The lines of a change order."""
    return tuple(ChangeLine(line["text"], line["cents"]) for line in change.content["lines"])


def seen_of(change: ChangeOrder) -> str:
    """Hash of a change order as it stands, to tell whether it is still what somebody looked at."""
    shown = [change.status, change.reason, change.content, change.emergency, change.emergency_note]
    text = canonical_json([*shown, change.sign_by.isoformat() if change.sign_by else ""])
    return hashlib.sha256(text.encode()).hexdigest()


def change_draft(
    *,
    job: Job,
    reason: str,
    lines: Sequence[ChangeLine],
    by: User,
    now: datetime,
    emergency_note: str = "",
    sign_by: date | None = None,
    origin: str = "",
    whole: dict[str, Any] | None = None,
    said: Sequence[str] = (),
) -> ChangeOrder:
    """Draft a change order; the same draft once more is the one that is there.

    Parameters
    ----------
    job : one whose contract stands.
    reason : why the work changes.
    lines : at least one; a price may still be missing.
    by, now, origin : who, when, from where.
    emergency_note : why work must begin before the signature; "" where it is no emergency.
    sign_by : last day to sign an emergency.
    whole, said : of walls as found, see `price_as_found`.

    Raises
    ------
    ValidationError : no reason, no line, or an emergency without its last day.
    Conflict : the contract is cancelled, or the job closed.
    """
    with transaction.atomic():
        locked = _standing(job)
        faults = _faults(locked, reason, lines, emergency_note, sign_by, now)
        if faults:
            raise ValidationError(faults)
        content = _content(locked, lines, whole=whole, said=said)
        mine = ChangeOrder.objects.filter(job=locked, status=ChangeStatus.DRAFT, reason=reason.strip())
        same = next((row for row in mine if row.content["lines"] == content["lines"]), None)
        if same is not None:
            return same
        last = ChangeOrder.objects.filter(job=locked).order_by("-number").values_list("number", flat=True).first()
        change = ChangeOrder(
            job=locked,
            number=(last or 0) + 1,
            reason=reason.strip(),
            emergency=bool(emergency_note.strip()),
            emergency_note=emergency_note.strip(),
            sign_by=sign_by if emergency_note.strip() else None,
            created_at=now,
            created_by=by,
        )
        _write(change, content)
        _record(change, "change.draft", by=by, now=now, origin=origin)
    return change


def change_as_found(*, job: Job, by: User, now: datetime, origin: str = "") -> ChangeOrder | None:
    """Draft a change order from the walls as found; None where the price stays the same.

    Raises
    ------
    OutOfRange : what was found does not fit its wall.
    Conflict : the contract is cancelled, or the job closed.
    """
    found = price_as_found(job)
    if not found.lines:
        return None
    return change_draft(
        job=job,
        reason=AS_FOUND,
        lines=found.lines,
        by=by,
        now=now,
        origin=origin,
        whole=found.whole,
        said=found.said,
    )


def change_redraft(
    *,
    change: ChangeOrder,
    seen: str,
    reason: str,
    lines: Sequence[ChangeLine],
    by: User,
    now: datetime,
    emergency_note: str = "",
    sign_by: date | None = None,
    origin: str = "",
) -> ChangeOrder:
    """Change a draft that is still what was looked at.

    Raises
    ------
    ValidationError : as for `change_draft`.
    ChangedMeanwhile : it is not, any more.
    Conflict : it is no draft any more.
    """
    with transaction.atomic():
        job = _standing(change.job)
        locked = _locked(change)
        if locked.status != ChangeStatus.DRAFT:
            raise Conflict(f"Change order {locked.number} is {locked.get_status_display().lower()}; draft another one.")
        faults = _faults(job, reason, lines, emergency_note, sign_by, now)
        if faults:
            raise ValidationError(faults)
        if seen_of(locked) != seen:
            raise ChangedMeanwhile("Somebody else changed this draft meanwhile.")
        locked.reason, locked.emergency = reason.strip(), bool(emergency_note.strip())
        locked.emergency_note = emergency_note.strip()
        locked.sign_by = sign_by if locked.emergency else None
        # Lines that were typed over are no longer those of the walls as found.
        kept = [line.form() for line in lines] == locked.content["lines"]
        whole, said = (locked.content["whole"], locked.content["known"]) if kept else (None, ())
        _write(locked, _content(job, lines, whole=whole, said=said))
        _record(locked, "change.redraft", by=by, now=now, origin=origin)
    return locked


def change_issue(*, change: ChangeOrder, seen: str, by: User, now: datetime, origin: str = "") -> ChangeOrder:
    """Issue a draft exactly as it was looked at: freeze its words, and write to the homeowner.

    Raises
    ------
    ValidationError : a line without a price, or an emergency whose last day to sign is over.
    ChangedMeanwhile : it is no longer what was looked at, or what it does to the contract is not.
    Conflict : it is no draft any more, or the contract is cancelled.
    """
    with transaction.atomic():
        job = _standing(change.job)
        locked = _locked(change)
        _may(locked, ChangeStatus.ISSUED)
        if seen_of(locked) != seen:
            raise ChangedMeanwhile("Somebody else changed this draft meanwhile. Look again, then issue it.")
        lines = lines_of(locked)
        if any(line.cents is None for line in lines):
            raise ValidationError("Enter the price of each line first; 0 where it costs nothing.")
        today = now.astimezone(ZoneInfo(job.zone)).date()
        if locked.sign_by is not None and locked.sign_by < today:
            raise ValidationError("The last day to sign is over. Enter a later one.")
        content = _content(job, lines, whole=locked.content["whole"], said=locked.content["known"])
        if content != locked.content:
            # Another change was signed since: the tax and the totals that were looked at are no longer right.
            _write(locked, content)
            said = "Another change was signed meanwhile, and the totals are new. Look again, then issue it."
        else:
            locked.status, locked.issued_at = ChangeStatus.ISSUED, now
            locked.content = content | {"issued_on": today.isoformat(), "number": locked.number, "job": job.number}
            locked.content_sha256 = hashlib.sha256(_frozen_text(locked).encode()).hexdigest()
            locked.full_clean()
            locked.save()
            _record(locked, "change.issue", by=by, now=now, origin=origin)
            _letter(locked, now=now)
            said = ""
    if said:
        raise ChangedMeanwhile(said)
    return locked


def change_sign(
    *, change: ChangeOrder, typed_name: str, content_sha256: str, electronic: bool, now: datetime, origin: str = ""
) -> ChangeOrder:
    """Record the homeowner's signature; the same once more changes nothing.

    Parameters
    ----------
    change : an issued one.
    typed_name : the signature.
    content_sha256 : of what stood on the page.
    electronic : consent to an electronic record.
    now, origin : when, from where.

    Raises
    ------
    ValidationError : no name or no consent.
    Conflict : it is not open any more, other words were read, or the last day of an emergency is over.
    """
    faults = {}
    if not typed_name.strip():
        faults["typed_name"] = "Enter your full name."
    if not electronic:
        faults["electronic"] = "Tick that you agree to an electronic record, or call us to sign on paper."
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        job = _standing(change.job)
        locked = _locked(change)
        if locked.status == ChangeStatus.SIGNED and locked.signed_sha256 == content_sha256:
            return locked
        _may(locked, ChangeStatus.SIGNED)
        if locked.content_sha256 != content_sha256:
            raise Conflict("What you read is not what stands here now. Read it again, then sign.")
        if locked.sign_by is not None and locked.sign_by < now.astimezone(ZoneInfo(job.zone)).date():
            raise Conflict(f"The last day to sign this was {long_date(locked.sign_by)}. Call us.")
        locked.status, locked.ended_at = ChangeStatus.SIGNED, now
        locked.signed_name, locked.signed_sha256 = typed_name.strip(), content_sha256
        locked.full_clean()
        locked.save()
        _record(locked, "change.sign", by=None, now=now, origin=origin)
    return locked


def change_decline(*, change: ChangeOrder, now: datetime, reason: str = "", origin: str = "") -> ChangeOrder:
    """Record that the homeowner declines; the same once more changes nothing.

    Raises
    ------
    Conflict : it is not open any more.
    """
    return _end(change, ChangeStatus.DECLINED, "change.decline", by=None, now=now, reason=reason, origin=origin)


def change_withdraw(*, change: ChangeOrder, reason: str, by: User, now: datetime, origin: str = "") -> ChangeOrder:
    """Take a change order back that nobody has signed; the same once more changes nothing.

    Raises
    ------
    ValidationError : no reason.
    Conflict : it was answered already.
    """
    if not reason.strip():
        raise ValidationError({"reason": "Enter the reason."})
    return _end(change, ChangeStatus.WITHDRAWN, "change.withdraw", by=by, now=now, reason=reason, origin=origin)


def may_be_worked(change: ChangeOrder) -> bool:
    """Whether work on a change may begin: it is signed, or an emergency that nobody declined or took back."""
    if change.status == ChangeStatus.SIGNED:
        return True
    return change.emergency and change.status in (ChangeStatus.DRAFT, ChangeStatus.ISSUED)


def effect_of(change: ChangeOrder) -> ChangeEffect:
    """What a change order does to the contract, as it was worked out last."""
    content = change.content
    return ChangeEffect(
        content["price_cents"],
        content["tax_cents"],
        content["total_before_cents"],
        content["total_after_cents"],
        tuple(content["said"]),
    )


def _end(
    change: ChangeOrder, to: ChangeStatus, action: str, *, by: User | None, now: datetime, reason: str, origin: str
) -> ChangeOrder:
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=change.job_id)
        locked = _locked(change)
        if locked.status == to:
            return locked
        _may(locked, to)
        locked.status, locked.ended_at = to, now
        locked.full_clean()
        locked.save()
        _record(locked, action, by=by, now=now, reason=reason.strip()[:500], origin=origin)
    return locked


def _standing(job: Job) -> Job:
    """The locked job, where its contract stands and it is not closed."""
    Job.objects.select_for_update().get(pk=job.pk)
    locked = Job.objects.select_related("proposal", "house", "revision").get(pk=job.pk)
    if locked.status == JobStatus.LOCKED or locked.proposal.status != ProposalStatus.ACCEPTED:
        raise Conflict(f"The contract of job {locked.number} is cancelled; nothing can be changed in it.")
    if locked.status == JobStatus.CLOSED:
        raise Conflict(f"Job {locked.number} is closed. Open it again before anything is changed.")
    return locked


def _locked(change: ChangeOrder) -> ChangeOrder:
    return ChangeOrder.objects.select_for_update().get(pk=change.pk)


def _may(change: ChangeOrder, to: ChangeStatus) -> None:
    if to not in CHANGE_MOVES[ChangeStatus(change.status)]:
        raise Conflict(f"Change order {change.number} is {change.get_status_display().lower()} already.")


def _faults(
    job: Job, reason: str, lines: Sequence[ChangeLine], emergency_note: str, sign_by: date | None, now: datetime
) -> dict[str, str]:
    faults = {}
    if not reason.strip():
        faults["reason"] = "Enter why the work changes."
    if not lines or any(not line.text.strip() for line in lines):
        faults["lines"] = "Enter at least one line, each with what is done."
    if emergency_note.strip():
        today = now.astimezone(ZoneInfo(job.zone)).date()
        if sign_by is None:
            faults["sign_by"] = "Enter the last day to sign; after it the work is not billable."
        elif sign_by < today:
            faults["sign_by"] = "Enter today or a later day."
    return faults


def _content(
    job: Job, lines: Sequence[ChangeLine], *, whole: dict[str, Any] | None, said: Sequence[str]
) -> dict[str, Any]:
    effect = change_effect(job, lines, said=said)
    return {
        "lines": [line.form() for line in lines],
        "whole": whole,
        "known": list(said),
        "price_cents": effect.price_cents,
        "tax_cents": effect.tax_cents,
        "total_before_cents": effect.total_before,
        "total_after_cents": effect.total_after,
        "said": list(effect.said),
    }


def _write(change: ChangeOrder, content: dict[str, Any]) -> None:
    change.content = content
    change.price, change.tax = from_cents(content["price_cents"]), from_cents(content["tax_cents"])
    change.full_clean()
    change.save()


def _frozen_text(change: ChangeOrder) -> str:
    """Everything that is signed, as canonical text."""
    return canonical_json(
        {
            "content": change.content,
            "reason": change.reason,
            "emergency": change.emergency_note,
            "sign_by": change.sign_by.isoformat() if change.sign_by else "",
        }
    )


def _record(change: ChangeOrder, action: str, *, by: User | None, now: datetime, origin: str, reason: str = "") -> None:
    after = {"change": change.number, "status": change.status}
    activity_record(actor=by, action=action, target=change.job, now=now, after=after, reason=reason, origin=origin)


def _letter(change: ChangeOrder, *, now: datetime) -> None:
    """Bring the homeowner the private link, where there is an address and a link that opens."""
    job, firm = change.job, load_firm()
    proposal, house = job.proposal, job.house
    paper = ProposalPaper.objects.filter(proposal=proposal).only("mail_to", "site").first()
    link = current_link(proposal, now=now)
    if paper is None or not paper.mail_to or link is None:
        return
    total = change.content["price_cents"] + change.content["tax_cents"]
    said = [
        f"Dear {house.customer_name},",
        f"something about the work at your house has changed: {change.reason}",
        f"It comes to {format_money(total)} with tax. Please read it, and sign or decline it here:\n{LINK}",
        "We do not begin with it before you have signed."
        if not change.emergency
        else f"It could not wait: {change.emergency_note} Please sign by {long_date(change.sign_by)}."
        if change.sign_by is not None
        else "",
        f"{firm.name}\n{firm.phone}",
    ]
    letter_add(
        to=[paper.mail_to],
        subject=f"Change order {change.number}, {house.street}",
        text="\n\n".join(words for words in said if words),
        key=f"change-{change.code}",
        now=now,
        link=link,
        site=paper.site,
    )
