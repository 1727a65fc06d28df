"""The signing key that the program makes for itself on the first run."""

from __future__ import annotations

import os
import secrets
import tempfile
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

KEY_BYTES = 64
SHORTEST_KEY = 50
"""Characters; the shortest key that Django's own deployment check accepts (security.W009)."""


def secret_key_from(path: Path) -> str:
    """Return the key kept in `path`, making it when it is not there.

    Two processes that start together end up with the same key: each writes a complete private file and links it
    into place, and only the first link succeeds.

    Raises
    ------
    ImproperlyConfigured : the file holds too short a key, or cannot be read or written.
    """
    try:
        if not path.exists():
            _place(path, secrets.token_urlsafe(KEY_BYTES))
        key = path.read_text(encoding="ascii").strip()
    except OSError as fault:
        raise ImproperlyConfigured(
            f"The signing key {path} cannot be read or written ({fault.strerror}). Make its folder writable, "
            "or set CAVITYBOOK_SECRET_KEY_FILE."
        ) from fault
    if len(key) < SHORTEST_KEY:
        raise ImproperlyConfigured(
            f"The signing key {path} holds {len(key)} characters. Delete the file and start again: "
            f"a new key of at least {SHORTEST_KEY} is made, and everybody signs in again."
        )
    return key


def _place(path: Path, key: str) -> None:
    """Write `key` to `path` whole or not at all; an existing file wins."""
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".secret_key-")  # mkstemp makes it 0600
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(key)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass  # another process was first: its key is the key
        except OSError:
            # A disk without hard links: moving is still whole-or-nothing, and the second of two first starts wins.
            os.replace(draft, path)
    finally:
        Path(draft).unlink(missing_ok=True)
