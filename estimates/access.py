"""Who may do what: the table of actions, and the only way to a protected object.

Every view declares its policy with `action` or `public`; a test walks the URL conf and fails on a view without one.
A person without the right is answered 403; an object that the person may not know of is answered 404, exactly as one
that does not exist.
"""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponseBase
from django.utils import timezone

from estimates.models.user import OFFICE, Role, User

M = TypeVar("M", bound=Model)
View = Callable[..., HttpResponseBase]
Person = User | AnonymousUser

EVERYBODY = frozenset(Role)

ACTIONS: dict[str, frozenset[Role]] = {
    "home.read": EVERYBODY,
    "session.end": EVERYBODY,
    "house.list": OFFICE,
    "house.read": OFFICE,
    "price.read": frozenset({Role.OWNER, Role.SALESPERSON, Role.BOOKKEEPER}),
    "cost.read": frozenset({Role.OWNER, Role.SALESPERSON}),
    "report.read": frozenset({Role.OWNER, Role.SALESPERSON, Role.BOOKKEEPER}),
    "report.margin": frozenset({Role.OWNER, Role.BOOKKEEPER}),
    # The papers carry prices, so whoever may not read a price may not fetch one of them either.
    "document.download": frozenset({Role.OWNER, Role.SALESPERSON, Role.BOOKKEEPER}),
    "rule.read": EVERYBODY,
    "lead.read": OFFICE,
    "lead.write": frozenset({Role.OWNER, Role.SALESPERSON}),
    "assessment.read": OFFICE,
    "assessment.write": frozenset({Role.OWNER, Role.SALESPERSON}),
    "estimate.write": frozenset({Role.OWNER, Role.SALESPERSON}),
    "estimate.release": frozenset({Role.OWNER}),
    "proposal.write": frozenset({Role.OWNER, Role.SALESPERSON}),
    "pipeline.read": frozenset({Role.OWNER, Role.SALESPERSON}),
    "book.read": frozenset({Role.OWNER, Role.SALESPERSON}),
    "book.publish": frozenset({Role.OWNER}),
    "template.change": frozenset({Role.OWNER}),
    # A job shows no prices: what it costs stands with its change orders and its money.
    "job.read": OFFICE,
    "job.write": frozenset({Role.OWNER, Role.SCHEDULER}),
    # Whoever plans may say what changes; only whoever may read a price sets one and issues it.
    "change.write": frozenset({Role.OWNER, Role.SALESPERSON, Role.SCHEDULER}),
    "change.issue": frozenset({Role.OWNER, Role.SALESPERSON}),
    # Whoever may know of a job may look after it; findings and tests carry no prices.
    "job.inspect": frozenset({Role.OWNER, Role.SCHEDULER, Role.CREW}),
    "void.release": frozenset({Role.OWNER}),
    "crew.plan": frozenset({Role.OWNER, Role.SCHEDULER}),
    "schedule.read": OFFICE,
    "schedule.write": frozenset({Role.OWNER, Role.SCHEDULER}),
    "crew.sheet": frozenset({Role.OWNER, Role.SCHEDULER, Role.CREW}),
    "crew.report": frozenset({Role.OWNER, Role.CREW}),
    "money.read": frozenset({Role.OWNER, Role.BOOKKEEPER}),
    "money.write": frozenset({Role.OWNER, Role.BOOKKEEPER}),
    "job_cost.read": frozenset({Role.OWNER}),
    # What closed jobs teach, bills after the work among it: it changes prices.
    "learning.decide": frozenset({Role.OWNER}),
    "export.make": frozenset({Role.OWNER, Role.BOOKKEEPER}),
    "cancellation.decide": frozenset({Role.OWNER}),
}
"""Dotted action -> roles that may do it. Crew never holds an action that shows a price, a cost or a margin."""

PUBLIC = "public"
"""Policy of the few views that anybody may open without signing in."""


def allowed(user: Person, action_name: str) -> bool:
    """Return whether `user` may do `action_name`; somebody who is not signed in, or left the firm, may do nothing.

    Raises
    ------
    KeyError : the action is not in `ACTIONS`.
    """
    roles = ACTIONS[action_name]
    return isinstance(user, User) and user.is_active and user.role in roles


def require(user: Person, action_name: str) -> None:
    """Refuse with 403 unless `user` may do `action_name`; for parts of a page that need a right of their own."""
    if not allowed(user, action_name):
        raise PermissionDenied


def signed_in(request: HttpRequest) -> User:
    """Return who is signed in, in a view that declared an `action`."""
    assert isinstance(request.user, User)
    return request.user


def origin_of(request: HttpRequest) -> str:
    """Return the network address that acts are recorded with."""
    return str(request.META.get("REMOTE_ADDR", ""))


def acts(request: HttpRequest) -> dict[str, Any]:
    """Who acts, when and from where: what every service that writes asks for."""
    return {"by": signed_in(request), "now": timezone.now(), "origin": origin_of(request)}


def action(name: str) -> Callable[[View], View]:
    """Declare the action of a view and refuse people without the right to it (403).

    Raises
    ------
    KeyError : the action is not in `ACTIONS`; raised at import, so a slip of the pen never reaches a page.
    """
    ACTIONS[name]

    def decorate(view: View) -> View:
        @functools.wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            require(request.user, name)
            return view(request, *args, **kwargs)

        guarded.access_policy = name  # type: ignore[attr-defined]
        return guarded

    return decorate


def public(view: View) -> View:
    """Declare a view that anybody may open without signing in."""

    @functools.wraps(view)
    def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return view(request, *args, **kwargs)

    opened.access_policy = PUBLIC  # type: ignore[attr-defined]
    return login_not_required(opened)


def policy_of(view: View) -> str | None:
    """Return the policy a view declared: an action, `PUBLIC`, or None when it declared nothing."""
    declared: str | None = getattr(view, "access_policy", None)
    return declared


def get_visible_or_404(user: Person, model: type[M], code: uuid.UUID, action_name: str) -> M:
    """Return the object with public identifier `code`.

    Parameters
    ----------
    user : who asks.
    model : a model with a ``code`` and a manager with ``visible_to(user)``.
    code : public identifier.
    action_name : what the person is about to do with it.

    Raises
    ------
    Http404 : there is no such object, or `user` may not know of it.
    PermissionDenied : `user` may know of it, but may not do this with it.
    """
    rows: Any = model._default_manager
    found: M | None = rows.visible_to(user).filter(code=code).first()
    if found is None:
        raise Http404
    require(user, action_name)
    return found
