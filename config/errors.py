"""Error pages: they say what to do next and show the request id, and nothing about the inside."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.template import loader
from django.views.decorators.csrf import requires_csrf_token


def _page(request: HttpRequest, template: str, status: int, **context: str) -> HttpResponse:
    # Rendered without context processors: those may ask the very database that has just failed.
    identity = request.META.get("CAVITYBOOK_REQUEST_ID", "-")
    body = loader.get_template(template).render({"request_id": identity, **context})
    response = HttpResponse(body, status=status)
    response.headers["Cache-Control"] = "no-store"
    return response


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Return the 400 page."""
    return _page(request, "400.html", 400)


@requires_csrf_token
def permission_denied(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Return the 403 page."""
    return _page(request, "403.html", 403)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Return the page for a form whose token is absent or old."""
    return _page(request, "403_form.html", 403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Return the 404 page."""
    return _page(request, "404.html", 404)


def conflict(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Return the 409 page; a `Conflict` carries a sentence written for the reader."""
    return _page(request, "409.html", 409, sentence=str(exception))


def server_error(request: HttpRequest) -> HttpResponse:
    """Return the 500 page."""
    return _page(request, "500.html", 500)
