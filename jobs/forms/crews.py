"""Forms of crews, people, rigs, certificates and days away."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from estimates.forms.plain import DayField, MoneyInput, PlainForm
from estimates.models import Role, User
from jobs.models import CertificateKind, Crew, Resource, Rig, RigKind, Skill, Worker

WEEKDAYS = [("1", "Mon"), ("2", "Tue"), ("3", "Wed"), ("4", "Thu"), ("5", "Fri"), ("6", "Sat"), ("7", "Sun")]


class BlamedForm(PlainForm):
    """A form whose faults may come from a service as well."""

    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def blame(self, fault: ValidationError) -> None:
        """Show the faults that a service found beside their fields."""
        found: Mapping[str, list[str]] = fault.message_dict if hasattr(fault, "error_dict") else {"": fault.messages}
        for name, sentences in found.items():
            for sentence in sentences:
                self.add_error(name if name in self.fields else None, sentence)

    @property
    def seen_version(self) -> int:
        """Version of the row that was looked at; 0 for a new one."""
        return int(self.cleaned_data.pop("version", None) or 0)


class RigForm(BlamedForm):
    """A rig."""

    name = forms.CharField(label="Name of the rig", max_length=80)
    kind = forms.ChoiceField(label="Kind of rig", choices=RigKind, widget=forms.RadioSelect)
    mixes_per_day = forms.IntegerField(
        label="Mixes on one day",
        help_text="Of a foam rig: more are planned on the next day.",
        required=False,
        min_value=1,
        max_value=1000,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "invalid": "Enter the mixes on one day as a whole number",
            "min_value": "Enter 1 mix or more",
            "max_value": "Enter 1,000 mixes or fewer",
        },
    )
    is_active = forms.BooleanField(label="In use", required=False, initial=True)


class WorkerForm(BlamedForm):
    """Somebody who works at houses."""

    name = forms.CharField(label="Name", max_length=80)
    user = forms.ModelChoiceField(
        label="Signs in as",
        help_text="The account that this person uses on the phone, where there is one.",
        queryset=User.objects.none(),
        required=False,
        empty_label="Nobody: has no account",
    )
    skills = forms.MultipleChoiceField(
        label="Skills", choices=Skill, required=False, widget=forms.CheckboxSelectMultiple
    )
    hourly_cost = MoneyInput(label="Cost of an hour", help_text="Wage and burden together.")
    is_active = forms.BooleanField(label="Works here now", required=False, initial=True)

    def __init__(self, *args: Any, costs: bool, worker: Worker | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        taken = Worker.objects.exclude(pk=0 if worker is None else worker.pk).exclude(user=None).values("user")
        choice = self.fields["user"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = User.objects.filter(is_active=True, role__in=[Role.CREW, Role.OWNER]).exclude(pk__in=taken)
        if not costs:
            del self.fields["hourly_cost"]


class CrewForm(BlamedForm):
    """A crew."""

    name = forms.CharField(label="Name of the crew", max_length=80)
    members = forms.ModelMultipleChoiceField(
        label="People", queryset=Worker.objects.none(), widget=forms.CheckboxSelectMultiple, required=False
    )
    lead = forms.ModelChoiceField(
        label="Crew lead", queryset=Worker.objects.none(), required=False, empty_label="None yet"
    )
    rigs = forms.ModelMultipleChoiceField(
        label="Rigs it usually takes", queryset=Rig.objects.none(), widget=forms.CheckboxSelectMultiple, required=False
    )
    weekdays = forms.MultipleChoiceField(label="Works on", choices=WEEKDAYS, widget=forms.CheckboxSelectMultiple)
    first_hour = forms.TypedChoiceField(
        label="Starts at", coerce=int, choices=[(hour, f"{hour}:00") for hour in range(5, 13)], initial=8
    )
    last_hour = forms.TypedChoiceField(
        label="Ends at", coerce=int, choices=[(hour, f"{hour}:00") for hour in range(12, 21)], initial=16
    )
    home_latitude = forms.DecimalField(
        label="Latitude of its yard",
        help_text="Degrees north, such as 42.45; travel is worked out from it.",
        min_value=-90,
        max_value=90,
        max_digits=8,
        decimal_places=5,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": "Enter the latitude in degrees, such as 42.45"},
    )
    home_longitude = forms.DecimalField(
        label="Longitude of its yard",
        help_text="Degrees east; west of Greenwich with a minus, such as -76.50.",
        min_value=-180,
        max_value=180,
        max_digits=8,
        decimal_places=5,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={"invalid": "Enter the longitude in degrees, such as -76.50"},
    )
    is_active = forms.BooleanField(label="Goes out now", required=False, initial=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("members", "lead"):
            self._choice(name).queryset = Worker.objects.filter(is_active=True)
        self._choice("rigs").queryset = Rig.objects.filter(is_active=True)

    def _choice(self, name: str) -> forms.ModelChoiceField[Any]:
        field = self.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        return field

    @staticmethod
    def of(crew: Crew) -> dict[str, Any]:
        """What the form of a crew begins with."""
        now = crew.members.filter(until__isnull=True).values_list("worker_id", flat=True)
        names = ("name", "lead", "first_hour", "last_hour", "home_latitude", "home_longitude", "is_active", "version")
        return {name: getattr(crew, name) for name in names} | {
            "members": list(now),
            "rigs": list(crew.rigs.values_list("rig_id", flat=True)),
            "weekdays": list(crew.works_on),
        }

    def clean(self) -> dict[str, Any]:
        """Turn the weekdays into their digits."""
        given = super().clean() or {}
        if "weekdays" in given:
            given["works_on"] = "".join(sorted(given.pop("weekdays")))
        return given


class CertificateForm(BlamedForm):
    """A certificate."""

    worker = forms.ModelChoiceField(
        label="Of", queryset=Worker.objects.none(), required=False, empty_label="The firm itself"
    )
    kind = forms.TypedChoiceField(label="Kind of certificate", choices=CertificateKind, coerce=CertificateKind)
    number = forms.CharField(label="Number", max_length=60)
    valid_from = DayField(label="First day")
    valid_until = DayField(label="Last day")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["worker"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = Worker.objects.filter(is_active=True)


class AbsenceForm(BlamedForm):
    """Days on which somebody or something is away."""

    resource = forms.ModelChoiceField(label="Who or what", queryset=Resource.objects.none())
    first_day = DayField(label="First day away")
    last_day = DayField(label="Last day away")
    reason = forms.CharField(label="Reason", max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["resource"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = Resource.objects.filter(is_active=True)
