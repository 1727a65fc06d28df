"""Writing down calls: a sales call against the rules is refused, any other is kept with a warning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.calls import CallAnswer, Purpose, call_answer
from estimates.command import Conflict
from estimates.leads import lead_change
from estimates.models.call import CallEntry, CallOutcome, CallPurpose
from estimates.models.lead import Lead
from estimates.models.user import User
from estimates.rules import BadRule, RuleMissing, RuleRow, places_of
from estimates.rules_table import rule_rows


class CallRefused(Conflict):
    """A sales call that the rules of the place forbid; `reasons` quote them."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__("This sales call may not be made or logged. " + " ".join(reasons))
        self.reasons = tuple(reasons)


@dataclass(frozen=True, slots=True)
class NextStep:
    """What is to be done after the call, and on which day; `expected_version` is that of the lead as it was read."""

    words: str
    on: date | None
    expected_version: int


def call_rules(lead: Lead) -> tuple[RuleRow, ...]:
    """Return the rules of the place of a lead."""
    return rule_rows(_places(lead))


def call_outlook(lead: Lead, *, purpose: CallPurpose, at: datetime, rows: Sequence[RuleRow]) -> CallAnswer:
    """Whether a lead may be called at a moment, and what the rules have to say of it.

    Parameters
    ----------
    lead : consent counts as it stood at that moment.
    purpose : why; only a sales call is refused.
    at : the moment, with its time zone.
    rows : see `call_rules`.

    Notes
    -----
    Where no hours are on record for the place, a sales call is refused: nobody knows whether it is allowed.
    """
    minute = at.replace(second=0, microsecond=0)
    given, withdrawn = (
        moment is not None and moment.replace(second=0, microsecond=0) <= minute
        for moment in (lead.consent_given_at, lead.consent_withdrawn_at)
    )
    try:
        return call_answer(
            rows,
            _places(lead),
            at=at,
            zone=lead.clock,
            purpose=Purpose(purpose.value),
            consent=given and not withdrawn,
            asked_not_to_call=withdrawn,
        )
    except (RuleMissing, BadRule) as fault:
        reason = f"The calling hours of {lead.state} are not known: {fault}."
        return CallAnswer(purpose is not CallPurpose.SALES, (reason,))


def call_log(
    *,
    lead: Lead,
    purpose: CallPurpose,
    outcome: CallOutcome,
    at: datetime,
    by: User,
    now: datetime,
    note: str = "",
    next_step: NextStep | None = None,
    origin: str = "",
) -> CallEntry:
    """Write down a call to a lead.

    Parameters
    ----------
    lead : whom we called; its row is locked.
    purpose, outcome : why, and what came of it.
    at : the moment of the call, with its time zone; now or earlier.
    by, now, origin : who writes it down, when, from where.
    note : in words.
    next_step : the lead's next step from now on; left out: it stays as it is.

    Raises
    ------
    CallRefused : a sales call outside the hours of the place, without consent or after it was withdrawn.
    LeadChanged : somebody changed the lead since it was read, and the next step would overwrite theirs.
    ValidationError : a field is wrong; each with what to enter.
    """
    if at > now:
        raise ValidationError({"at": "Enter the time of the call: now or earlier."})
    with transaction.atomic():
        locked = Lead.objects.select_for_update().get(pk=lead.pk)
        answer = call_outlook(locked, purpose=purpose, at=at, rows=call_rules(locked))
        if not answer.allowed:
            raise CallRefused(answer.reasons)
        entry = CallEntry(
            lead=locked,
            purpose=purpose,
            outcome=outcome,
            at=at,
            zone=locked.clock.key,
            note=note,
            warnings=list(answer.reasons),
            logged_at=now,
            logged_by=by,
        )
        entry.full_clean()
        entry.save()
        after = {"purpose": purpose, "outcome": outcome, "at": at, "zone": entry.zone, "warnings": entry.warnings}
        activity_record(actor=by, action="lead.call", target=locked, now=now, after=after, reason=note, origin=origin)
        if next_step is not None:
            lead_change(
                lead=locked,
                expected_version=next_step.expected_version,
                by=by,
                now=now,
                origin=origin,
                next_step=next_step.words,
                next_step_on=next_step.on,
            )
    return entry


def _places(lead: Lead) -> tuple[str, ...]:
    return places_of(lead.state, *([lead.county] if lead.county else []))
