import logging
from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import include, path

from config import logs
from estimates import access
from estimates.command import Conflict
from estimates.models import User

SECRET_TEXT = "drawer number seven"


@access.action("home.read")
def breaks(request: HttpRequest) -> HttpResponse:
    raise RuntimeError(SECRET_TEXT)


@access.action("home.read")
def collides(request: HttpRequest) -> HttpResponse:
    raise Conflict("The price book was changed by somebody else.")


@access.action("house.list")
def lists(request: HttpRequest) -> HttpResponse:
    return HttpResponse("houses")


urlpatterns = [
    path("breaks/", breaks),
    path("collides/", collides),
    path("lists/", lists),
    path("", include("config.urls")),
]
handler400 = "config.errors.bad_request"
handler403 = "config.errors.permission_denied"
handler404 = "config.errors.not_found"
handler500 = "config.errors.server_error"

pytestmark = [pytest.mark.urls(__name__), pytest.mark.django_db]


@pytest.fixture
def client_of_crew(crew: User, signed_in: Callable[[User], Client]) -> Client:
    client = signed_in(crew)
    client.raise_request_exception = False
    return client


@pytest.mark.parametrize(
    ("address", "status"), [("/breaks/", 500), ("/lists/", 403), ("/none/", 404), ("/collides/", 409)]
)
def test_an_error_page_shows_the_request_number_and_nothing_internal(
    client_of_crew: Client, address: str, status: int, caplog: pytest.LogCaptureFixture
) -> None:
    response = client_of_crew.get(address)
    page = response.content.decode()
    assert response.status_code == status
    assert len(response.headers["X-Request-ID"]) == 32
    assert response.headers["X-Request-ID"] in page
    assert response.headers["Cache-Control"].startswith("no-store")
    for inside in (SECRET_TEXT, "RuntimeError", "Traceback", "estimates.", "django"):
        assert inside not in page


def test_a_conflict_tells_the_reader_what_collided(client_of_crew: Client) -> None:
    assert "The price book was changed by somebody else." in client_of_crew.get("/collides/").content.decode()


def test_a_host_that_is_not_ours_gets_the_plain_400_page() -> None:
    response = Client(raise_request_exception=False).get("/health/", headers={"host": "elsewhere.example"})
    assert response.status_code == 400
    assert "could not be read" in response.content.decode()
    assert "elsewhere.example" not in response.content.decode()


def test_a_form_without_its_token_gets_a_page_that_says_what_to_do() -> None:
    response = Client(enforce_csrf_checks=True).post("/sign-in/", {"username": "a@b.example", "password": "x"})
    assert response.status_code == 403
    assert "load the page again" in response.content.decode()


@pytest.mark.parametrize("address", ["/breaks/", "/lists/", "/none/"])
def test_every_log_line_carries_the_request_number(client_of_crew: Client, address: str) -> None:
    lines: list[Any] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            lines.append(record)

    keep = Keep()
    keep.addFilter(logs.RequestFilter())
    logging.getLogger("django.request").addHandler(keep)
    try:
        response = client_of_crew.get(address)
    finally:
        logging.getLogger("django.request").removeHandler(keep)
    assert [line.request_id for line in lines] == [response.headers["X-Request-ID"]]
    assert logs.request_id.get() == "-"


def test_a_private_link_is_blanked_in_log_lines() -> None:
    token = "0123456789abcdef0123456789abcdef.kZ8-w_4jC1oVbq0mN2Lx7hT3yR5sD6aE9fG1uI0pKQs"
    record = logging.LogRecord("django.request", logging.WARNING, "", 1, "Not Found: %s", (f"/p/{token}/",), None)
    assert logs.RequestFilter().filter(record)
    assert record.getMessage() == "Not Found: /p/[private link]/"


@override_settings(TRUST_PROXY=True)
def test_only_the_address_our_own_proxy_wrote_is_believed(signed_in: Callable[[User], Client], crew: User) -> None:
    response = signed_in(crew).get("/", headers={"x-forwarded-for": "198.51.100.9, 203.0.113.7"})
    assert response.wsgi_request.META["REMOTE_ADDR"] == "203.0.113.7"


def test_a_forwarded_address_is_ignored_without_a_proxy(signed_in: Callable[[User], Client], crew: User) -> None:
    response = signed_in(crew).get("/", headers={"x-forwarded-for": "203.0.113.7", "x-request-id": "chosen-by-sender"})
    assert response.wsgi_request.META["REMOTE_ADDR"] == "127.0.0.1"
    assert response.headers["X-Request-ID"] != "chosen-by-sender"
