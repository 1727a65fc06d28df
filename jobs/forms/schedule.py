"""Forms of the schedule: where a phase goes, lost days, weather."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from estimates.forms.plain import DayField, PlainForm, QuantityField
from jobs.forms.crews import BlamedForm
from jobs.models import Crew, Resource, Rig, Worker

FORECAST_BYTES = 200_000
"""Largest forecast file. [bytes]"""


def _hour(value: str) -> int | None:
    return int(value) if value else None


class PlaceForm(BlamedForm):
    """Crew, day and hour of a phase."""

    crew = forms.ModelChoiceField(label="Crew", queryset=Crew.objects.none(), empty_label="Choose a crew")
    day = DayField(label="First day")
    hour = forms.TypedChoiceField(
        label="Starts at",
        help_text="Crews work in half-days; short visits may start at any hour.",
        coerce=_hour,
        empty_value=None,
        required=False,
        choices=[("", "When the crew begins"), *((str(hour), f"{hour}:00") for hour in range(6, 19))],
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["crew"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = Crew.objects.filter(is_active=True)


class LostDayForm(BlamedForm):
    """A day that cannot be worked."""

    who = forms.MultipleChoiceField(
        label="Who loses the day",
        help_text="A crew goes out whole: where one of its people is away, it stays at home.",
        widget=forms.CheckboxSelectMultiple,
    )
    day = DayField(label="Lost day")
    reason = forms.CharField(label="Reason", help_text="Frost, rain, illness, a broken rig.", max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["who"]
        assert isinstance(choice, forms.MultipleChoiceField)
        self.rows: dict[str, Resource] = {}
        groups = []
        for label, model in (("Crews", Crew), ("People", Worker), ("Rigs", Rig)):
            rows: list[Resource] = list(model._default_manager.filter(is_active=True))
            self.rows |= {str(row.pk): row for row in rows}
            if rows:
                groups.append((label, [(str(row.pk), row.name) for row in rows]))
        choice.choices = groups

    def clean_who(self) -> list[Resource]:
        """Give the rows themselves."""
        return [self.rows[key] for key in self.cleaned_data["who"]]


class WeatherForm(BlamedForm):
    """The weather of a day."""

    day = DayField(label="Day")
    low_f = QuantityField(label="Low", unit="degF", low=-80, high=150)
    high_f = QuantityField(label="High", unit="degF", low=-80, high=150)
    rain_percent = forms.IntegerField(
        label="Chance of rain in percent",
        required=False,
        min_value=0,
        max_value=100,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "invalid": "Enter the chance of rain as a whole number from 0 to 100",
            "min_value": "Enter a chance of rain of at least 0",
            "max_value": "Enter a chance of rain of at most 100",
        },
    )
    wind_mph = QuantityField(label="Wind", unit="mph", low=0, high=200, required=False)
    source = forms.CharField(label="Where the forecast comes from", max_length=120)

    def weather(self) -> dict[str, Any]:
        """What is kept of a day."""
        given = self.cleaned_data
        tenth = Decimal("0.1")
        return {
            "day": given["day"],
            "low_f": Decimal(str(given["low_f"])).quantize(tenth),
            "high_f": Decimal(str(given["high_f"])).quantize(tenth),
            "rain_chance": (Decimal(str(given["rain_percent"] or 0)) / 100).quantize(Decimal("0.01")),
            "wind_mph": Decimal(str(given["wind_mph"] or 0)).quantize(tenth),
            "source": given["source"],
        }


class ForecastForm(PlainForm):
    """A forecast file."""

    file = forms.FileField(
        label="Forecast file",
        help_text="Comma-separated, with the columns day, low_f, high_f, rain_percent, wind_mph.",
    )
    file_source = forms.CharField(label="Source of the file", max_length=120)

    def clean_file(self) -> str:
        """Give the text of the file."""
        sent = self.cleaned_data["file"]
        if sent.size > FORECAST_BYTES:
            raise forms.ValidationError("Choose a forecast file of at most 200 kB")
        try:
            text: str = sent.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise forms.ValidationError("Choose a text file in UTF-8 with comma-separated values") from None
        return text
