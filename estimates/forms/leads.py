"""Forms of leads: taking and changing one, moving it, logging a call, and what a source costs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, cast
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from estimates.forms.plain import DayField, MoneyInput, PlainForm
from estimates.house import ComplaintRecord
from estimates.models import CallOutcome, CallPurpose, Lead, LeadSource, LeadStage, LostReason, User
from estimates.models.lead import SELLERS
from estimates.zones import STATE_ZONES, ZONES

LONGEST_NOTE = 500


class MomentField(forms.CharField):
    """A day and a time of day by the clock of a house, typed as 2026-03-05 14:30; gives a moment with its zone."""

    def __init__(self, *, zone: ZoneInfo, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 40)
        kwargs.setdefault("widget", forms.DateTimeInput(attrs={"type": "datetime-local"}))
        super().__init__(**kwargs)
        self.zone = zone

    def prepare_value(self, value: Any) -> Any:
        """Return a moment as the box shows it."""
        return f"{value.astimezone(self.zone):%Y-%m-%dT%H:%M}" if isinstance(value, datetime) else value

    def clean(self, value: Any) -> datetime | None:
        """Return the moment, None where nothing was typed and nothing is needed."""
        words = str(super().clean(value) or "").strip()
        if not words:
            return None
        try:
            naive = datetime.fromisoformat(words.replace("/", "-"))
            moment = naive if naive.tzinfo is not None else naive.replace(tzinfo=self.zone)
            there = moment.astimezone(UTC).astimezone(self.zone)
        except (ValueError, OverflowError):
            raise ValidationError("Enter a day and a time, such as 2026-03-05 14:30") from None
        if naive.tzinfo is None and there.replace(tzinfo=None, fold=0) != naive:
            raise ValidationError("Enter another time: the clocks were put forward, and this one was left out that day")
        return moment


class LeadPageForm(PlainForm):
    """A form whose faults may come from a service as well."""

    def blame(self, fault: ValidationError, **names: str) -> None:
        """Show the faults that a service found beside their fields; `names`: field there -> field here."""
        found: Mapping[str, list[str]] = fault.message_dict if hasattr(fault, "error_dict") else {"": fault.messages}
        for name, sentences in found.items():
            field = names.get(name, name)
            for sentence in sentences:
                self.add_error(field if field in self.fields else None, sentence)


class LeadForm(LeadPageForm):
    """Who asked us, where they live, where they heard of us, and what is next."""

    person = forms.CharField(label="Name", max_length=80, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    phone = forms.CharField(
        label="Telephone number",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label="E-mail address",
        max_length=254,
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
        error_messages={"invalid": "Enter the e-mail address, such as name@example.com"},
    )
    street = forms.CharField(label="House number and street", max_length=120, required=False)
    town = forms.CharField(label="Town", max_length=80, required=False)
    state = forms.CharField(
        label="State, two letters",
        max_length=20,
        widget=forms.TextInput(attrs={"size": 4, "autocapitalize": "characters", "autocomplete": "off"}),
    )
    postal_code = forms.CharField(
        label="Postal code", max_length=10, required=False, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    county = forms.CharField(label="County", max_length=60, required=False)
    zone = forms.ChoiceField(
        label="Clock of the house", required=False, choices=[("", "That of the state"), *ZONES.items()]
    )
    source = forms.ModelChoiceField(
        label="Source", queryset=LeadSource.objects.none(), to_field_name="code", empty_label="Choose one"
    )
    seller = forms.ModelChoiceField(
        label="Seller", queryset=User.objects.none(), to_field_name="code", empty_label="Choose one"
    )
    consent = forms.BooleanField(label="They agree to be called about an offer", required=False)
    next_step = forms.CharField(label="Next step", max_length=200, required=False)
    next_step_on = DayField(label="Day of the next step", required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, zone: ZoneInfo | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choose_from(LeadSource.objects.all(), User.objects.filter(role__in=SELLERS, is_active=True))
        self.fields["state"].error_messages["required"] = "Enter the two letters of the state"
        if zone is not None:
            self.fields["visit_at"] = MomentField(
                label="Day and time of the visit", help_text="By the clock of the house.", zone=zone, required=False
            )

    def choose_from(self, sources: Any, sellers: Any) -> None:
        """Offer these sources and sellers."""
        for name, rows in (("source", sources), ("seller", sellers)):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows

    def clean_state(self) -> str:
        """Return the two capital letters."""
        state = str(self.cleaned_data["state"]).strip().upper()
        if state not in STATE_ZONES:
            raise ValidationError("Enter the two letters of the state, such as NY")
        return state

    def clean(self) -> dict[str, Any]:
        """Ask for what belongs together, so that every fault of the page is shown at once."""
        given = self.cleaned_data
        if not given.get("phone") and not given.get("email") and not {"phone", "email"} & set(self.errors):
            self.add_error("phone", "Enter a telephone number or an e-mail address")
        if given.get("next_step") and not given.get("next_step_on") and "next_step_on" not in self.errors:
            self.add_error("next_step_on", "Enter the day of the next step")
        if given.get("next_step_on") and not given.get("next_step") and "next_step" not in self.errors:
            self.add_error("next_step", "Enter the next step, or take its day out")
        return given

    @property
    def typed(self) -> dict[str, Any]:
        """The fields of the lead as `estimates.leads` takes them."""
        return {name: value for name, value in self.cleaned_data.items() if name not in ("version", "key")}

    @classmethod
    def initial_of(cls, lead: Lead) -> dict[str, Any]:
        """What the form shows of a lead."""
        plain = {name: getattr(lead, name) for name in cls.base_fields if hasattr(lead, name)}
        return plain | {
            "source": lead.source.code,
            "seller": lead.seller.code,
            "consent": lead.may_be_called,
            "visit_at": lead.visit_at,
        }


class ComplaintForm(PlainForm):
    """What is wrong in one room; a row left empty says nothing."""

    room = forms.CharField(label="Room", max_length=80, required=False)
    words = forms.CharField(label="What is wrong, in their words", max_length=400, required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for the other half of a row of which one half is filled."""
        room, words = (str(self.cleaned_data.get(name, "")).strip() for name in ("room", "words"))
        if words and not room:
            self.add_error("room", "Enter the room, or “whole house”")
        if room and not words:
            self.add_error("words", "Enter what is wrong there")
        return self.cleaned_data


if TYPE_CHECKING:
    _RoomSet = forms.BaseFormSet[ComplaintForm]
else:
    _RoomSet = forms.BaseFormSet


class BaseComplaints(_RoomSet):
    """The rooms of one lead."""

    @property
    def records(self) -> tuple[ComplaintRecord, ...]:
        """The filled rows."""
        rows = [form.cleaned_data for form in self.forms if form.cleaned_data.get("room")]
        return tuple(ComplaintRecord(room=row["room"].strip(), words=row["words"].strip()) for row in rows)


MOST_ROOMS = 20
FEWEST_ROWS = 2

Complaints = cast(
    "type[BaseComplaints]",
    forms.formset_factory(
        ComplaintForm, formset=BaseComplaints, extra=0, min_num=FEWEST_ROWS, max_num=MOST_ROOMS, absolute_max=MOST_ROOMS
    ),
)


class MoveForm(LeadPageForm):
    """What has to be known for a stage, and a note."""

    note = forms.CharField(
        label="Note",
        max_length=LONGEST_NOTE,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, stage: LeadStage, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if stage is LeadStage.VISIT_SET:
            self.fields["visit_at"] = MomentField(
                label="Day and time of the visit",
                help_text="By the clock of the house.",
                error_messages={"required": "Enter the day and time of the visit"},
                zone=zone,
            )
        elif stage is LeadStage.LOST:
            self.fields["lost_reason"] = forms.ChoiceField(
                label="Reason",
                choices=LostReason.choices,
                widget=forms.RadioSelect,
                error_messages={"required": "Choose the reason", "invalid_choice": "Choose the reason from the list"},
            )
        self.order_fields(["visit_at", "lost_reason"])


class CallForm(LeadPageForm):
    """Why we called, when, what came of it, and what is next."""

    purpose = forms.ChoiceField(label="Kind of call", choices=CallPurpose.choices, widget=forms.RadioSelect)
    outcome = forms.ChoiceField(label="Outcome", choices=CallOutcome.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="Note", max_length=LONGEST_NOTE, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    next_step = forms.CharField(label="Next step", max_length=200, required=False)
    next_step_on = DayField(label="Day of the next step", required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)
    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"] = MomentField(
            label="Time of the call",
            help_text="By the clock of the house.",
            error_messages={"required": "Enter the time of the call"},
            zone=zone,
        )
        self.order_fields(["purpose", "outcome", "at"])


class SourceForm(LeadPageForm):
    """A source of leads and what one lead of it costs."""

    name = forms.CharField(label="Name of the source", max_length=80)
    cost_per_lead = MoneyInput(label="Cost of one lead", help_text="0 where it costs nothing.")
