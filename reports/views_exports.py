"""Pages for the bookkeeper: choose a period, look, make the file, fetch it; and what our accounts are called there."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.command import Conflict
from estimates.forms.plain import DayField, PlainForm
from estimates.money import format_money
from estimates.records import BadRecord
from estimates.templatetags.figures import day
from jobs.ledger import CHART
from jobs.models import ExportBatch, ExportForm, ExportKind
from reports.answers import shown_cell
from reports.export_batches import (
    CONTENT_TYPES,
    FORMS,
    HeldMap,
    Sheet,
    export_look,
    export_make,
    map_now,
    map_save,
    new_in,
    period_named,
    periods_until,
)
from reports.exports.rows import Period
from reports.exports.tables import Cell, Column, Kind

FIRST_ROWS = 8
"""Rows that a preview shows."""

LATEST = 20
"""Exports that the list shows."""

DAYS = "days"


class PeriodForm(PlainForm):
    """What to export, and of which days."""

    kind = forms.TypedChoiceField(label="What", choices=ExportKind, coerce=ExportKind, initial=ExportKind.EVERYTHING)
    period = forms.ChoiceField(label="Period")
    since = DayField(label="First day", required=False)
    until = DayField(label="Last day", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        period = self.fields["period"]
        assert isinstance(period, forms.ChoiceField)
        period.choices = [*periods_until(timezone.localdate()), (DAYS, "The days entered")]

    def clean(self) -> dict[str, Any]:
        """Both days where days were chosen, in order."""
        given = super().clean() or {}
        if given.get("period") == DAYS:
            for name, words in (("since", "first day"), ("until", "last day")):
                if given.get(name) is None and name not in self.errors:
                    self.add_error(name, f"Enter the {words}")
            since, until = given.get("since"), given.get("until")
            if since and until and until < since:
                self.add_error("until", f"Enter {since.isoformat()} or a later day")
        return given

    def chosen(self) -> Period:
        """The days of a form without faults."""
        given = self.cleaned_data
        if given["period"] == DAYS:
            return Period(given["since"], given["until"])
        return period_named(given["period"])


class MakeForm(forms.Form):
    """What the preview sends on; everything in it was chosen there."""

    kind = forms.TypedChoiceField(choices=ExportKind, coerce=ExportKind)
    form = forms.TypedChoiceField(choices=ExportForm, coerce=ExportForm)
    since = DayField()
    until = DayField()


@require_safe
@access.action("export.make")
def show_exports(request: HttpRequest) -> HttpResponse:
    """Choose what goes out; once it is chosen, show its first rows, its totals and what went out before."""
    asked = "period" in request.GET
    last = timezone.localdate().replace(day=1)
    begin = {"period": f"{last.fromordinal(last.toordinal() - 1):%Y-%m}"}
    form = PeriodForm(request.GET if asked else None, initial=begin)
    context: dict[str, Any] = {"section": "money", "form": form, "forms": [form], "faulty": form.faulty}
    if asked and form.is_valid():
        kind, period = form.cleaned_data["kind"], form.chosen()
        context |= {"kind": kind, "period": period, "file_forms": FORMS[kind]}
        try:
            sheets = export_look(kind, period)
        except BadRecord as bad:
            context["refused"] = [str(fault) for fault in bad.faults]
        else:
            context["sheets"] = [_shown(sheet) for sheet in sheets]
            context["rows"] = sum(len(sheet.table.rows) for sheet in sheets)
    context["batches"] = _batches()[:LATEST]
    return render(request, "reports/exports.html", context)


def _batches() -> Any:
    return ExportBatch.objects.defer("content", "items").select_related("made_by").order_by("-made_at", "-id")


def _shown(sheet: Sheet) -> dict[str, Any]:
    """A part as the preview shows it."""
    columns = sheet.table.columns
    rows = []
    for key, row in list(zip(sheet.keys, sheet.table.rows, strict=True))[:FIRST_ROWS]:
        batch = sheet.before.get(key)
        mark = "new" if batch is None else f"exported on {day(batch.made_at)} by {batch.made_by.full_name}"
        cells = [(_cell(column, cell), column.kind is Kind.MONEY) for column, cell in zip(columns, row, strict=True)]
        rows.append({"cells": cells, "mark": mark})
    return {
        "name": sheet.name,
        "title": ExportKind(sheet.name).label,
        "headings": [(column.heading, column.kind is Kind.MONEY) for column in columns],
        "rows": rows,
        "count": len(sheet.table.rows),
        "items": len(sheet.items),
        "new": len(sheet.new),
        "totals": [(column.heading, total) for column, total in zip(columns, sheet.totals, strict=True) if total],
    }


def _cell(column: Column, cell: Cell) -> str:
    """A cell as it stands in the file, to the cent; days as people write them."""
    if column.kind is Kind.MONEY and isinstance(cell, int):
        return format_money(cell)
    return shown_cell(column, cell)


@require_POST
@access.action("export.make")
def make_export(request: HttpRequest) -> HttpResponse:
    """Make the file that was looked at, and lead to it."""
    form = MakeForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose what to export and its period first.")
        return redirect("reports-show-exports")
    given = form.cleaned_data
    try:
        made = export_make(
            kind=given["kind"],
            form=given["form"],
            period=Period(given["since"], given["until"]),
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except ValidationError as fault:
        messages.error(request, f"Nothing was exported. {' '.join(fault.messages)}")
        return redirect("reports-show-exports")
    if made.again:
        messages.info(
            request,
            f"Nothing has changed since {made.batch.made_by.full_name} exported this on {day(made.batch.made_at)}: it "
            "is the same file.",
        )
    else:
        messages.success(request, "The file is made and kept. Next: fetch it.")
    return redirect("reports-show-export", code=made.batch.code)


@require_safe
@access.action("export.make")
def show_export(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Show an export, what was new in it, and lead to its file."""
    batch = access.get_visible_or_404(request.user, ExportBatch, code, "export.make")
    new = new_in(batch)
    parts = [
        (
            ExportKind(name).label,
            len(keys),
            len(new[name]),
            ", ".join(new[name][:FIRST_ROWS]),
            len(new[name]) > FIRST_ROWS,
        )
        for name, keys in batch.items.items()
    ]
    context = {"section": "money", "batch": batch, "kind": ExportKind(batch.kind).label, "parts": parts}
    return render(request, "reports/export.html", context)


@require_safe
@access.action("export.make")
def download_export(request: HttpRequest, code: uuid.UUID) -> HttpResponse:
    """Hand over the file of an export, as it was made."""
    batch = access.get_visible_or_404(request.user, ExportBatch, code, "export.make")
    response = HttpResponse(bytes(batch.content), content_type=CONTENT_TYPES[ExportForm(batch.form)])
    response.headers["Content-Disposition"] = f'attachment; filename="{batch.file_name}"'
    return response


# --- The account map -------------------------------------------------------------------------------------------------


class MapForm(PlainForm):
    """Code and name of each of our accounts in the bookkeeper's chart."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, held: HeldMap, **kwargs: Any) -> None:
        self.held = held
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = held.version
        for one in held.record.accounts:
            ours = CHART[one.key][1]
            self.fields[f"{one.key}-code"] = forms.CharField(
                label=f"Code of {ours}", max_length=40, initial=one.code,
                error_messages={"required": f"Enter the code of {ours}"},
            )  # fmt: skip
            self.fields[f"{one.key}-name"] = forms.CharField(
                label=f"Name of {ours} there", max_length=80, required=False, initial=one.name
            )

    @property
    def rows(self) -> list[dict[str, Any]]:
        """A row for each account: our name, and the two boxes."""
        return [
            {
                "ours": CHART[one.key][1],
                "code": self[f"{one.key}-code"],
                "name": self[f"{one.key}-name"],
                "held": one,
            }
            for one in self.held.record.accounts
        ]

    @property
    def accounts(self) -> list[dict[str, str]]:
        """What was entered, as a map."""
        given = self.cleaned_data
        return [
            {"key": one.key, "code": given[f"{one.key}-code"], "name": given[f"{one.key}-name"]}
            for one in self.held.record.accounts
        ]


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("export.make")
def change_accounts(request: HttpRequest) -> HttpResponse:
    """Show and change what the bookkeeper's chart calls our accounts."""
    held = map_now()
    form = MapForm(request.POST if request.method == "POST" else None, held=held)
    status, theirs = 200, False
    if request.method == "POST" and form.is_valid():
        try:
            version = map_save(
                accounts=form.accounts,
                expected_version=form.cleaned_data["version"],
                by=access.signed_in(request),
                now=timezone.now(),
                origin=access.origin_of(request),
            )
        except Conflict as changed:
            # What was typed stays; the other version stands beside it, and the next save goes on from that.
            form.add_error(None, str(changed))
            typed = request.POST.copy()
            typed["version"] = str(held.version)
            form.data = typed
            status, theirs = 409, True
        except BadRecord as bad:
            for fault in bad.faults:
                form.add_error(None, str(fault))
        else:
            messages.success(request, f"Account map {version} holds from now on. Next: export the journal.")
            return redirect("reports-show-exports")
    context = {
        "section": "money",
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "held": held,
        "theirs": theirs,
    }
    return render(request, "reports/export_accounts.html", context, status=status)
