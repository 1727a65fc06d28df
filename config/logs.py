"""Log lines: each carries the id of its request, none carries a private link."""

from __future__ import annotations

import logging
import re
from contextvars import ContextVar

request_id: ContextVar[str] = ContextVar("request_id", default="-")
"""Id of the request being answered; "-" outside of requests."""

PRIVATE_LINK = re.compile(r"[0-9a-f]{32}\.[0-9A-Za-z_-]{20,}")
"""Shape of a private-link token (see estimates.links): whoever reads the log could otherwise open the link."""


class RequestFilter(logging.Filter):
    """Adds `request_id` to a record and blanks private links in its text."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Return True always: the record is completed, never dropped."""
        # Django logs an answer of 400 and above after all middleware has ended; the request itself still knows its id.
        meta = getattr(getattr(record, "request", None), "META", {})
        record.request_id = meta.get("CAVITYBOOK_REQUEST_ID", request_id.get())
        text = record.getMessage()
        if PRIVATE_LINK.search(text):
            record.msg, record.args = PRIVATE_LINK.sub("[private link]", text), None
        return True
