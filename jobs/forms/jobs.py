"""Forms of a job: what is known of it, its start gates, and booking."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from estimates.forms.plain import DayField, PlainForm
from jobs.forms.crews import BlamedForm
from jobs.models import GateKind, Job, JobWall

WORDS = {"rows": 3}


class DaysField(forms.CharField):
    """Days, one a line or with commas between them; ``2026-03-09 to 2026-03-13`` is every day of that stretch."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.Textarea(attrs=WORDS), required=False, max_length=2000, **kwargs)

    def clean(self, value: Any) -> list[date]:
        """Return the days, each once, in their order."""
        days: set[date] = set()
        for words in str(super().clean(value) or "").replace(",", "\n").splitlines():
            if not words.strip():
                continue
            ends = [_day(part) for part in words.split(" to ")]
            if len(ends) > 2 or not 0 <= (ends[-1] - ends[0]).days <= 365:
                raise forms.ValidationError(f"Enter “{words.strip()}” as first day to last day, at most a year")
            days.update(date.fromordinal(n) for n in range(ends[0].toordinal(), ends[-1].toordinal() + 1))
        return sorted(days)


def _day(words: str) -> date:
    try:
        return date.fromisoformat(words.strip())
    except ValueError:
        raise forms.ValidationError(f"Enter “{words.strip()}” as a day, such as 2026-03-09") from None


def _degrees(label: str, most: int) -> forms.DecimalField:
    wrong = f"Enter the {label.lower()} in degrees from {-most} to {most}, such as {Decimal('42.44389')}"
    return forms.DecimalField(
        label=label,
        required=False,
        min_value=Decimal(-most),
        max_value=Decimal(most),
        max_digits=8,
        decimal_places=5,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages=dict.fromkeys(
            ("invalid", "min_value", "max_value", "max_digits", "max_decimal_places", "max_whole_digits"), wrong
        ),
    )


class JobForm(BlamedForm):
    """What is known of a job."""

    wanted_by = DayField(label="Wanted by", help_text="The day it should be done, where one was named.", required=False)
    days_away = DaysField(
        label="Days away",
        help_text="When the homeowner cannot have us: one a line, such as 2026-03-09 or 2026-03-09 to 2026-03-13.",
    )
    access_note = forms.CharField(
        label="How the crew gets in",
        help_text="Key, gate, dog, parking. The crew reads it.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs=WORDS),
        error_messages={"max_length": "Enter at most 500 characters"},
    )
    latitude = _degrees("Latitude", 90)
    longitude = _degrees("Longitude", 180)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["latitude"].help_text = "Of the house, in degrees, from a map; travel is worked out from it."
        self.fields["longitude"].help_text = "West of Greenwich is below 0."

    @staticmethod
    def of(job: Job) -> dict[str, Any]:
        """What the form begins with."""
        return {
            "version": job.version,
            "wanted_by": job.wanted_by,
            "days_away": "\n".join(job.days_away),
            "access_note": job.access_note,
            "latitude": job.latitude,
            "longitude": job.longitude,
        }


class BookForm(PlainForm):
    """Booking: nothing must be said."""

    wanted_by = DayField(label="Wanted by", required=False)


class GateForm(BlamedForm):
    """That a start gate was met."""

    met_on = DayField(label="Day it was met", required=False, help_text="Left empty, it is taken back: not met.")
    expires_on = DayField(label="Last day it may be used", required=False, help_text="Where it runs out.")
    note = forms.CharField(
        label="Proof",
        help_text="Number of the paper, who said so, when.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs=WORDS),
        error_messages={"max_length": "Enter at most 500 characters"},
    )


class PamphletForm(BlamedForm):
    """That the lead pamphlet was given: its first and last day follow from how and when."""

    given_on = DayField(label="Day it was given")
    mailed = forms.TypedChoiceField(
        label="How it was given",
        choices=[("no", "Handed over, receipt signed"), ("yes", "Mailed, with a certificate of mailing")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    proof = forms.CharField(
        label="Proof",
        help_text="Who signed the receipt, or the number of the certificate of mailing.",
        max_length=400,
        widget=forms.Textarea(attrs=WORDS),
        error_messages={"max_length": "Enter at most 400 characters"},
    )


class NewGateForm(BlamedForm):
    """Something more that the start waits for."""

    kind = forms.TypedChoiceField(
        label="Kind of gate", choices=GateKind, coerce=GateKind, initial=GateKind.PERMIT, empty_value=GateKind.OTHER
    )
    name = forms.CharField(
        label="What is waited for", max_length=120, help_text="As it stands on the job, such as: Permit of the town."
    )
    owes = forms.CharField(
        label="Who owes it", required=False, max_length=80, help_text="Office, homeowner, electrician, utility."
    )
    rule = forms.CharField(
        label="Why",
        required=False,
        max_length=600,
        widget=forms.Textarea(attrs=WORDS),
        help_text="The rule or the wish behind it, where it helps.",
    )
    same_day = forms.BooleanField(label="Work may start on the day it is met", required=False)
    walls = forms.MultipleChoiceField(
        label="Only these walls wait for it",
        help_text="None ticked: the whole job waits.",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["walls"]
        assert isinstance(choice, forms.MultipleChoiceField)
        choice.choices = list(JobWall.objects.filter(job=job).values_list("key", "name"))
