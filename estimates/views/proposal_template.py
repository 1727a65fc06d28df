"""The template of the proposal: what is in use, a changed one to take, an earlier one to take back."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from estimates import access
from estimates.forms.proposals import TemplateForm
from estimates.models import PaperTemplate
from estimates.paper_templates import (
    BUILT_IN,
    LARGEST,
    current_template,
    template_path,
    template_restore,
    template_take,
)
from estimates.views.house_files import DOCX_TYPE


@require_http_methods(["GET", "HEAD", "POST"])
@access.action("template.change")
def list_templates(request: HttpRequest) -> HttpResponse:
    """Show the templates that were in use, and take a changed one once it is checked."""
    form = TemplateForm(request.POST or None, request.FILES or None) if request.method == "POST" else TemplateForm()
    if form.is_valid():
        taken = _take(request, form)
        if taken is not None:
            messages.success(request, f"“{taken.name}” is in use as template number {taken.number}.")
            return redirect("estimates-list-templates")
    rows = PaperTemplate.objects.visible_to(request.user).select_related("taken_by")
    current = current_template()
    context = {
        "section": "proposals",
        "form": form,
        "forms": [form],
        "faulty": form.faulty,
        "faults_title": "The template in use stays as it is",
        "templates": rows,
        "current": current,
        "built_in": BUILT_IN,
        "now": timezone.now(),
    }
    return render(request, "estimates/proposal_templates.html", context)


def _take(request: HttpRequest, form: TemplateForm) -> PaperTemplate | None:
    file: UploadedFile[bytes] = form.cleaned_data["file"]
    try:
        # One byte more than is allowed, so that a larger file is told to be too large and is not read whole.
        return template_take(
            content=file.read(LARGEST + 1),
            name=file.name or "proposal.docx",
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except ValidationError as fault:
        form.add_error("file", fault.messages)
        return None


@require_POST
@access.action("template.change")
def restore_template(request: HttpRequest) -> HttpResponse:
    """Take an earlier template back into use."""
    text = request.POST.get("number", "")
    if not (text.isascii() and text.isdigit() and len(text) < 9):
        raise Http404
    earlier = None
    if int(text):
        earlier = PaperTemplate.objects.visible_to(request.user).filter(number=int(text)).first()
        if earlier is None:
            raise Http404
    try:
        row = template_restore(
            earlier=earlier,
            by=access.signed_in(request),
            now=timezone.now(),
            origin=access.origin_of(request),
        )
    except ValidationError as fault:
        messages.warning(request, f"The template in use stays as it is. {' '.join(fault.messages)}")
    else:
        messages.success(request, f"“{row.name}” is in use again, as template number {row.number}.")
    return redirect("estimates-list-templates")


@require_safe
@access.action("template.change")
def download_template(request: HttpRequest, number: int) -> HttpResponseBase:
    """Hand over a template to change it in a word processor; 0 is the one that comes with the program."""
    row = None
    if number:
        row = PaperTemplate.objects.visible_to(request.user).filter(number=number).first()
        if row is None:
            raise Http404
    path = template_path(row)
    if not path.exists():
        raise Http404
    name = f"proposal-template-{number}.docx"
    return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type=DOCX_TYPE)
