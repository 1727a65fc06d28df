"""What the person who looks at a page may do."""

from __future__ import annotations

from django import template

from estimates import access

register = template.Library()


@register.filter
def may(user: access.Person, action_name: str) -> bool:
    """Return whether `user` may do the action.

    Raises
    ------
    KeyError : there is no such action; a slip of the pen must not hide a part of a page silently.
    """
    return access.allowed(user, action_name)
