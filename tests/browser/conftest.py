from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

    from estimates.models import EstimateRevision, User

PASSWORD = "wet foam, slow pour"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"


@pytest.fixture
def site(live_server: LiveServer, transactional_db: None, estimated: Callable[..., EstimateRevision]) -> LiveServer:
    """A running program with three estimated houses."""
    for name in ("alder-foursquare", "mill-cape", "quarry-split"):
        estimated(name)
    return live_server


@pytest.fixture
def faults(page: Page) -> list[str]:
    """What the browser complains about: errors of scripts and of the content policy, and requests to elsewhere."""
    found: list[str] = []
    page.add_init_script(
        "document.addEventListener('securitypolicyviolation', e => console.error('policy', e.violatedDirective))"
    )
    page.on("console", lambda said: found.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on(
        "request",
        lambda request: (
            None
            if request.url.startswith(("http://localhost", "http://127.0.0.1", "data:"))
            else found.append(request.url)
        ),
    )
    return found


@pytest.fixture
def enter(site: LiveServer, page: Page, person: Callable[..., User]) -> Callable[[str], Page]:
    """Return `enter(role)`: signs in through the form and gives the page."""

    def sign_in(role: str) -> Page:
        user = person(role, "Selwyn Tarn", password=PASSWORD)
        page.goto(f"{site.url}/sign-in/")
        page.get_by_label("E-mail address").fill(user.email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        return page

    return sign_in
