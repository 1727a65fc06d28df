"""Forms of verification: findings, their mending, the day of an infrared look, the inspector's word."""

from __future__ import annotations

from typing import Any

from django import forms

from estimates.forms.plain import DayField, QuantityField
from jobs.forms.crews import BlamedForm
from jobs.forms.money import WallField
from jobs.models import FindingKind, Job, JobWall, Verdict

WORDS = {"rows": 3}


class FindingForm(BlamedForm):
    """Something that was found."""

    kind = forms.TypedChoiceField(label="How it was found", choices=FindingKind, coerce=FindingKind)
    wall = WallField(label="Wall", queryset=JobWall.objects.none(), required=False, empty_label="No wall: the house")
    bay = forms.IntegerField(
        label="Bay number",
        help_text="As on the drawing, where it is known.",
        required=False,
        min_value=1,
        max_value=100_000,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={"invalid": "Enter the bay number as on the drawing", "min_value": "Enter a bay number from 1"},
    )
    area_ft2 = QuantityField(
        label="Void area", unit="ft2", low=0, high=10_000, required=False, help_text="Only of a void."
    )
    confirmed = forms.BooleanField(label="A probe, a drill or eyes have shown the void", required=False)
    verdict = forms.TypedChoiceField(
        label="What is to be done", choices=Verdict, coerce=Verdict, widget=forms.RadioSelect, initial=Verdict.REDO
    )
    words = forms.CharField(label="What was found", max_length=500, widget=forms.Textarea(attrs=WORDS))

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["wall"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = JobWall.objects.filter(job=job)

    def clean(self) -> dict[str, Any]:
        """An area that was left empty is none."""
        given = super().clean() or {}
        given["area_ft2"] = given.get("area_ft2") or 0.0
        return given


class CloseForm(BlamedForm):
    """How a finding was mended."""

    closed_how = forms.CharField(
        label="How it was mended, and what showed it", max_length=500, widget=forms.Textarea(attrs=WORDS)
    )


class LookForm(BlamedForm):
    """The conditions of an infrared look."""

    on = DayField(label="Day of the look")
    t_in_f = QuantityField(label="Indoor temperature", unit="degF", low=-20, high=120)
    t_out_f = QuantityField(label="Outdoor temperature", unit="degF", low=-40, high=120)
    hours_without_sun = forms.FloatField(
        label="Hours without sun on the wall",
        min_value=0,
        max_value=48,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        error_messages={
            "invalid": "Enter the hours without sun in figures, such as 4",
            "min_value": "Enter 0 hours or more",
            "max_value": "Enter 48 hours or fewer",
        },
    )
    wind_mph = QuantityField(label="Wind", unit="mph", low=0, high=80)


class InspectForm(BlamedForm):
    """The inspector's word."""

    infrared_judged = forms.TypedChoiceField(
        label="Infrared",
        choices=[("yes", "Looked at under valid conditions"), ("no", "Not judged: a return visit follows")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    same_person_reason = forms.CharField(
        label="Why nobody else can inspect",
        help_text="Only where you measured the house or worked on it yourself.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs=WORDS),
    )


class ReleaseForm(BlamedForm):
    """Why a void stays."""

    reason = forms.CharField(
        label="Why the void stays, and what is credited", max_length=500, widget=forms.Textarea(attrs=WORDS)
    )
