"""What happens around every request."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import patch_cache_control

from config.errors import conflict
from config.logs import request_id
from estimates.command import Conflict

Answer = Callable[[HttpRequest], HttpResponseBase]
SAFE_ID = re.compile(r"[0-9A-Za-z-]{8,64}")


class RequestIdMiddleware:
    """Gives each request an id: in every log line, in the ``X-Request-ID`` header and on error pages."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer under a new id, or under the one our own proxy already logged."""
        given = request.headers.get("X-Request-ID", "") if settings.TRUST_PROXY else ""
        identity = given if SAFE_ID.fullmatch(given) else uuid.uuid4().hex
        request.META["CAVITYBOOK_REQUEST_ID"] = identity
        mark = request_id.set(identity)
        try:
            response = self.get_response(request)
        finally:
            request_id.reset(mark)
        response.headers["X-Request-ID"] = identity
        return response


class ProxyAddressMiddleware:
    """Puts the sender's address where everything else reads it, when our own proxy is trusted.

    Only the last entry of ``X-Forwarded-For`` is used: it is the one our proxy wrote; the others are the sender's word.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer with ``REMOTE_ADDR`` corrected."""
        if settings.TRUST_PROXY and (forwarded := request.headers.get("X-Forwarded-For", "")):
            request.META["REMOTE_ADDR"] = forwarded.rsplit(",", 1)[-1].strip()
        return self.get_response(request)


class NoStoreMiddleware:
    """Keeps pages of signed-in people out of every cache, the browser's own included."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, and mark the answer when somebody is signed in or the view asked for it."""
        response = self.get_response(request)
        if request.user.is_authenticated:
            patch_cache_control(response, no_store=True, private=True)
        return response


class ConflictMiddleware:
    """Turns `estimates.command.Conflict` into the 409 page."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer; conflicts are handled in `process_exception`."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Return the 409 page for a conflict and leave everything else alone."""
        return conflict(request, exception) if isinstance(exception, Conflict) else None
