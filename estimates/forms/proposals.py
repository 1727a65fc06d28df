"""Forms of the office side of proposals."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from estimates.forms.plain import DayField, PlainForm
from estimates.proposal_look import Terms

WORDS = forms.Textarea(attrs={"rows": 4})


class IssueForm(PlainForm):
    """What the sender chooses before a proposal goes out; `seen` is the hash of what was looked at."""

    mail_to = forms.EmailField(
        label="E-mail address of the homeowner",
        help_text="Left empty, no letter goes out and you hand the link over yourself.",
        required=False,
        max_length=120,
        error_messages={"invalid": "Enter an e-mail address, such as name@example.com"},
    )
    valid_until = DayField(label="Last day of the price")
    words = forms.CharField(
        label="Words of your own in the letter",
        required=False,
        max_length=1000,
        widget=WORDS,
        error_messages={"max_length": "Enter at most 1,000 characters of your own words"},
    )
    sold_in = forms.CharField(
        label="Language of the sale",
        help_text="The notice of cancellation must be in the language you spoke with the homeowner.",
        max_length=40,
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    @property
    def terms(self) -> Terms:
        """What was chosen; of a valid form."""
        given = self.cleaned_data
        return Terms(given["valid_until"], given["mail_to"], given["words"], given["sold_in"])


class ReasonForm(PlainForm):
    """Why something is taken back."""

    reason = forms.CharField(
        label="Reason",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter a reason of at most 500 characters"},
    )


class NoticeForm(PlainForm):
    """A notice to cancel that came by post, by hand or by telephone."""

    received_on = DayField(label="Day it came")
    received_at = forms.TimeField(
        label="Time it came",
        help_text="By the clock of the house, such as 14:30.",
        input_formats=["%H:%M", "%I:%M %p"],
        error_messages={"invalid": "Enter a time, such as 14:30"},
    )
    postmarked_on = DayField(
        label="Day of the postmark",
        help_text="The day it was sent decides, where it is known.",
        required=False,
    )
    reason = forms.CharField(
        label="What the homeowner says",
        help_text="How it came, and the reason if one was given; none is owed.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter at most 500 characters"},
    )

    def __init__(self, *args: Any, zone: ZoneInfo, now: datetime, **kwargs: Any) -> None:
        there = now.astimezone(zone)
        kwargs.setdefault("initial", {"received_on": there.date(), "received_at": f"{there:%H:%M}"})
        super().__init__(*args, **kwargs)
        self.zone, self.now = zone, now

    @property
    def received(self) -> datetime:
        """When it came; of a valid form."""
        day: date = self.cleaned_data["received_on"]
        clock: time = self.cleaned_data["received_at"]
        return datetime.combine(day, clock, tzinfo=self.zone)

    def clean(self) -> dict[str, Any]:
        """Refuse what lies in the future, and a postmark after the notice came."""
        given = super().clean() or {}
        day, clock, sent = (given.get(name) for name in ("received_on", "received_at", "postmarked_on"))
        if day is not None and clock is not None:
            # The present minute is not over yet; somebody who types it means now.
            if self.received.replace(second=0) > self.now:
                self.add_error("received_on", "Enter the day and time it came; they cannot be in the future")
            if sent is not None and sent > day:
                self.add_error("postmarked_on", "Enter the day it came or an earlier day")
        return given


class DecisionForm(PlainForm):
    """What the owner makes of a notice that came late."""

    granted = forms.TypedChoiceField(
        label="What becomes of the contract",
        choices=[("yes", "Cancel the contract all the same"), ("no", "The contract stands")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="Reason",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter a reason of at most 500 characters"},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["granted"].error_messages |= {"required": "Choose what becomes of the contract"}


class ReplyForm(PlainForm):
    """The answer to a question of a homeowner."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    words = forms.CharField(
        label="Answer",
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 6}),
        error_messages={"max_length": "Enter an answer of at most 4,000 characters"},
    )


class TemplateForm(PlainForm):
    """A changed template."""

    file = forms.FileField(
        label="Changed template",
        help_text="A Word document (.docx) of at most 2 MB.",
        widget=forms.FileInput(attrs={"accept": ".docx"}),
        error_messages={"empty": "Choose a file that is not empty", "required": "Choose the changed template"},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].error_messages |= {"required": "Choose the changed template"}
