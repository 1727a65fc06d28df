"""Typed reading of environment variables: nonsense is refused in a plain sentence, never guessed at."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

YES = frozenset({"1", "true", "yes", "on"})
NO = frozenset({"0", "false", "no", "off"})


class Environment:
    """The process environment, read by name with a type.

    Parameters
    ----------
    values : the variables; the process environment when left out.

    Examples
    --------
    >>> env = Environment({"CAVITYBOOK_DEBUG": "yes", "CAVITYBOOK_ALLOWED_HOSTS": "a.example, b.example"})
    >>> env.flag("CAVITYBOOK_DEBUG", default=False)
    True
    >>> env.words("CAVITYBOOK_ALLOWED_HOSTS", default=[])
    ['a.example', 'b.example']
    >>> env.whole("CAVITYBOOK_SESSION_HOURS", default=12, low=1, high=720)
    12
    """

    def __init__(self, values: Mapping[str, str] | None = None) -> None:
        self._values = os.environ if values is None else values

    def text(self, name: str, *, default: str = "") -> str:
        """Return the variable without surrounding blanks, or `default` when it is unset or empty."""
        return self._values.get(name, "").strip() or default

    def flag(self, name: str, *, default: bool) -> bool:
        """Return a yes/no variable.

        Raises
        ------
        ImproperlyConfigured : the text is neither a yes nor a no.
        """
        text = self.text(name).lower()
        if not text:
            return default
        if text in YES:
            return True
        if text in NO:
            return False
        raise ImproperlyConfigured(f'{name} is "{text}". Enter 1 (yes) or 0 (no).')

    def whole(self, name: str, *, default: int, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`.

        Raises
        ------
        ImproperlyConfigured : the text is not a whole number, or lies outside the limits.
        """
        text = self.text(name)
        if not text:
            return default
        try:
            number = int(text)
        except ValueError:
            raise ImproperlyConfigured(f'{name} is "{text}". Enter a whole number from {low} to {high}.') from None
        if not low <= number <= high:
            raise ImproperlyConfigured(f"{name} is {number}. Enter a whole number from {low} to {high}.")
        return number

    def words(self, name: str, *, default: list[str]) -> list[str]:
        """Return a list written with commas between its words."""
        return [word for part in self.text(name).split(",") if (word := part.strip())] or list(default)

    def folder(self, name: str, *, default: Path) -> Path:
        """Return an absolute folder, made (readable by its owner only) when it is not there yet.

        Raises
        ------
        ImproperlyConfigured : the path is relative, is a file, or cannot be made.
        """
        path = Path(self.text(name) or default)
        if not path.is_absolute():
            raise ImproperlyConfigured(f'{name} is "{path}". Enter a full path, starting at the root of the disk.')
        try:
            path.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as fault:
            raise ImproperlyConfigured(
                f"The data folder {path} cannot be made ({fault.strerror}). Set {name} to a folder that may be written."
            ) from fault
        return path

    def secret(self, name: str) -> str:
        """Return a secret from NAME, or from the file that NAME_FILE names; empty when neither is set.

        Raises
        ------
        ImproperlyConfigured : both are set, or the file is absent, unreadable or empty.
        """
        value, path = self.text(name), self.text(f"{name}_FILE")
        if value and path:
            raise ImproperlyConfigured(f"{name} and {name}_FILE are both set. Keep one of them.")
        if not path:
            return value
        try:
            value = Path(path).read_text(encoding="utf-8").strip()
        except OSError as fault:
            raise ImproperlyConfigured(
                f"{name}_FILE names {path}, which cannot be read ({fault.strerror}). Enter a readable file."
            ) from fault
        if not value:
            raise ImproperlyConfigured(f"{name}_FILE names {path}, which is empty. Write the secret into it.")
        return value
