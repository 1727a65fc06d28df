"""The rows of the estimates app, one module per noun."""

from estimates.models.user import Role, User

__all__ = ["Role", "User"]
