"""The program as a process that kills itself after it has committed and before it answers.

    python dying_server.py PORT MARK

While the file MARK is there, the first entries that arrive are its end.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server


class Server(ThreadingMixIn, WSGIServer):
    """One thread a request; a browser keeps lines open that it does not use."""

    daemon_threads = True


class Quiet(WSGIRequestHandler):
    """Says nothing of requests."""

    def log_message(self, *args: Any) -> None:
        """Drop it."""


def serve(port: int, mark: Path) -> None:
    """Serve until the end."""
    sys.path.insert(0, os.getcwd())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

    from config.wsgi import application

    def dying(environ: dict[str, Any], begin: Callable[..., Any]) -> Iterable[bytes]:
        """Answer; or keep what was sent and die."""
        answer = list(application(environ, begin))
        if environ["PATH_INFO"].endswith("/entries/") and mark.exists():
            mark.unlink()
            os.kill(os.getpid(), signal.SIGKILL)
        return answer

    make_server("127.0.0.1", port, dying, Server, Quiet).serve_forever()


if __name__ == "__main__":
    serve(int(sys.argv[1]), Path(sys.argv[2]))
