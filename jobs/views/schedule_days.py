"""Around the schedule: lost days, the weather, and calendars of crews behind private links."""

from __future__ import annotations

import uuid
from datetime import timedelta

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.links import LinkClosed, link_open, link_token
from estimates.models import LinkPurpose
from jobs.calendar_feed import calendar_link_renew, calendar_link_revoke, calendar_links, crew_calendar
from jobs.forms.schedule import ForecastForm, LostDayForm, WeatherForm
from jobs.models import Crew, DayWeather
from jobs.schedule_words import short_day
from jobs.visits import day_lost
from jobs.weather import BadForecast, forecast_import, weather_put

either_way = require_http_methods(["GET", "HEAD", "POST"])


@either_way
@access.action("schedule.write")
def lose_day(request: HttpRequest) -> HttpResponse:
    """Mark a day as lost; what it breaks is planned anew on the next page, and not written before it is taken."""
    form = LostDayForm(request.POST if request.method == "POST" else None, initial={"day": timezone.localdate()})
    if form.is_valid():
        given = form.cleaned_data
        try:
            day_lost(who=given["who"], day=given["day"], reason=given["reason"], **access.acts(request))
        except ValidationError as fault:
            form.blame(fault)
        else:
            names = ", ".join(row.name for row in given["who"])
            said = f"{short_day(given['day'])} is lost for {names}. Below is a plan that moves as little as possible."
            messages.success(request, said)
            return redirect(f"{reverse('jobs-show-plan')}?keep=1")
    context = {"section": "schedule", "form": form, "forms": [form], "faulty": form.faulty}
    return render(request, "jobs/schedule_lost.html", context)


@either_way
@access.action("schedule.write")
def enter_weather(request: HttpRequest) -> HttpResponse:
    """Enter the weather of a day, or read a forecast file."""
    today = timezone.localdate()
    from_file = request.method == "POST" and "file_source" in request.POST
    typed = request.POST if request.method == "POST" and not from_file else None
    form = WeatherForm(typed, initial={"day": today + timedelta(days=1)})
    forecast = ForecastForm(request.POST if from_file else None, request.FILES if from_file else None)
    if form.is_valid():
        try:
            row = weather_put(now=timezone.now(), **form.weather())
        except ValidationError as fault:
            form.blame(fault)
        else:
            messages.success(request, f"The weather of {short_day(row.day)} is entered.")
            return redirect("jobs-enter-weather")
    if from_file and forecast.is_valid():
        given = forecast.cleaned_data
        try:
            count = forecast_import(text=given["file"], source=given["file_source"], now=timezone.now())
        except BadForecast as bad:
            for sentence in bad.faults:
                forecast.add_error("file", sentence)
        else:
            messages.success(request, f"The weather of {count} days is read. Broken visits are marked on the schedule.")
            return redirect("jobs-enter-weather")
    context = {
        "section": "schedule",
        "form": form,
        "forecast": forecast,
        "forms": [form, forecast],
        "faulty": form.faulty or forecast.faulty,
        "rows": DayWeather.objects.filter(day__gte=today),
    }
    return render(request, "jobs/schedule_weather.html", context)


# --- calendars --------------------------------------------------------------------------------------------------------


@require_safe
@access.action("schedule.write")
def list_calendars(request: HttpRequest) -> HttpResponse:
    """Show the private link to each crew's calendar."""
    crews = list(Crew.objects.filter(is_active=True))
    links = calendar_links(crews, now=timezone.now())
    rows = []
    for crew in crews:
        link = links.get(crew.pk)
        address = ""
        if link is not None:
            path = reverse("jobs-show-calendar", kwargs={"token": link_token(link)})
            address = request.build_absolute_uri(path)
        rows.append({"crew": crew, "address": address, "until": None if link is None else link.expires_at})
    return render(request, "jobs/schedule_calendars.html", {"section": "schedule", "rows": rows})


@require_POST
@access.action("schedule.write")
def renew_calendar(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Make a new link to the calendar of a crew."""
    crew = access.get_visible_or_404(request.user, Crew, code, "schedule.write")
    calendar_link_renew(crew=crew, **access.acts(request))
    messages.success(
        request, f"{crew} has a new link. Older ones open nothing any more; put the new one on the phones."
    )
    return redirect("jobs-list-calendars")


@require_POST
@access.action("schedule.write")
def revoke_calendar(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Take back the link to the calendar of a crew."""
    crew = access.get_visible_or_404(request.user, Crew, code, "schedule.write")
    calendar_link_revoke(crew=crew, **access.acts(request))
    messages.success(request, f"The link to the calendar of {crew} is taken back and opens nothing.")
    return redirect("jobs-list-calendars")


@require_safe
@access.public
def show_calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar behind a private link, for a calendar program."""
    now = timezone.now()
    try:
        link = link_open(token=token, purpose=LinkPurpose.CALENDAR, now=now)
    except LinkClosed:
        # Whoever asks is a program; which of the reasons it was is nobody's business.
        return HttpResponse("This calendar is not here. Ask the office for a new link.\n", "text/plain", status=404)
    crew = Crew.objects.filter(code=link.target_code).first()
    if crew is None:
        return HttpResponse("This calendar is not here. Ask the office for a new link.\n", "text/plain", status=404)
    response = HttpResponse(crew_calendar(crew, now=now), "text/calendar; charset=utf-8")
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["Content-Disposition"] = 'inline; filename="crew.ics"'
    return response
