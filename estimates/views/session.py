"""Signing in and out, the first page, and the sign of life."""

from __future__ import annotations

import logging
from datetime import datetime
from typing import Any

from django.contrib.auth import views as auth_views
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST, require_safe

from estimates import access
from estimates.demo_accounts import offered_accounts
from estimates.desk import desk_of
from estimates.forms.sign_in import SignInForm
from estimates.models import User

log = logging.getLogger("cavitybook.session")

_sign_in = auth_views.LoginView.as_view(
    template_name="registration/sign_in.html",
    authentication_form=SignInForm,
    redirect_authenticated_user=True,
    extra_context={"demo_accounts": offered_accounts},
)
_sign_out = auth_views.LogoutView.as_view()


@access.public
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Ask for e-mail address and password, and start a session."""
    response = _sign_in(request)
    if request.method == "POST":
        if isinstance(request.user, User):
            log.info("user %s signed in from %s", request.user.code, request.META.get("REMOTE_ADDR"))
        else:
            log.warning("a sign-in from %s failed", request.META.get("REMOTE_ADDR"))
    return response


@require_POST
@access.action("session.end")
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """End the session on the server and forget it in the browser."""
    return _sign_out(request)


def locked_out(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    """Answer somebody who guessed too often, in words that do not say whether the account exists."""
    log.warning("sign-in closed for a while after too many wrong passwords")
    form = SignInForm(request)
    return render(request, "registration/sign_in.html", {"form": form, "too_many": True}, status=429)


@require_safe
@access.action("home.read")
def show_home(request: HttpRequest) -> HttpResponse:
    """Show where to start, and what waits for a seller today."""
    user, now = request.user, timezone.now()
    context: dict[str, Any] = {"now": now, "today": timezone.localdate(now), "midnight": _midnight(now), "desk": None}
    if isinstance(user, User) and access.allowed(user, "lead.write"):
        context["desk"] = desk_of(user, now=now)
    return render(request, "estimates/home.html", context)


def _midnight(now: datetime) -> datetime:
    return timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)


@require_GET
@never_cache
@access.public
def show_health(request: HttpRequest) -> JsonResponse:
    """Say whether the program can reach its database; nothing about versions, names or faults."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        log.exception("the database does not answer")
        return JsonResponse({"status": "no database"}, status=503)
    return JsonResponse({"status": "ok"})
