"""Where the browser's chart library comes from: out of the installed package, so that no copy of it is kept here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

PREFIX = "charts"
BUNDLE = "plotly.min.js"


def bundle_folder() -> Path:
    """Return the folder of the bundle; the package itself is not imported.

    Raises
    ------
    ModuleNotFoundError : the chart library is not installed.
    """
    spec = find_spec("plotly")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("plotly is not installed: install requirements.txt")
    return Path(spec.submodule_search_locations[0]) / "package_data"


class ChartBundleFinder(BaseFinder):
    """Finds ``charts/plotly.min.js`` and nothing else."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.storage = FileSystemStorage(location=bundle_folder())
        self.storage.prefix = PREFIX  # type: ignore[attr-defined]
        super().__init__(*args, **kwargs)

    def check(self, **kwargs: Any) -> list[Any]:
        """Return no faults: a missing package is told at import."""
        return []

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        """Return the path of the bundle when it is asked for."""
        found = [self.storage.path(BUNDLE)] if path == f"{PREFIX}/{BUNDLE}" else []
        return found if find_all or kwargs.get("all") else (found[0] if found else [])

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[tuple[str, FileSystemStorage]]:
        """Return the one file for collecting."""
        yield BUNDLE, self.storage
