from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from config.environment import Environment


@pytest.mark.parametrize(("text", "value"), [("1", True), (" Yes ", True), ("off", False), ("0", False), ("", True)])
def test_a_flag_is_read(text: str, value: bool) -> None:
    assert Environment({"CAVITYBOOK_DEBUG": text}).flag("CAVITYBOOK_DEBUG", default=True) is value


def test_a_flag_that_is_neither_yes_nor_no_is_refused() -> None:
    with pytest.raises(ImproperlyConfigured, match=r'CAVITYBOOK_DEBUG is "perhaps"\. Enter 1 \(yes\) or 0 \(no\)\.'):
        Environment({"CAVITYBOOK_DEBUG": "perhaps"}).flag("CAVITYBOOK_DEBUG", default=False)


@pytest.mark.parametrize("text", ["12.5", "twelve", "0", "721", "1e2"])
def test_a_number_outside_its_limits_is_refused_with_the_limits(text: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="from 1 to 720"):
        Environment({"HOURS": text}).whole("HOURS", default=12, low=1, high=720)


def test_a_secret_is_read_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "secret"
    path.write_text("quiet-words\n")
    assert Environment({"PASSWORD_FILE": str(path)}).secret("PASSWORD") == "quiet-words"


def test_a_secret_given_twice_is_refused_without_showing_it(tmp_path: Path) -> None:
    with pytest.raises(ImproperlyConfigured, match="PASSWORD and PASSWORD_FILE are both set") as refused:
        Environment({"PASSWORD": "quiet-words", "PASSWORD_FILE": "elsewhere"}).secret("PASSWORD")
    assert "quiet-words" not in str(refused.value)


@pytest.mark.parametrize("content", [None, "", "  \n"])
def test_an_absent_or_empty_secret_file_is_refused(tmp_path: Path, content: str | None) -> None:
    path = tmp_path / "secret"
    if content is not None:
        path.write_text(content)
    with pytest.raises(ImproperlyConfigured, match="PASSWORD_FILE names"):
        Environment({"PASSWORD_FILE": str(path)}).secret("PASSWORD")


def test_a_folder_is_made_for_its_owner_only(tmp_path: Path) -> None:
    folder = Environment({"CAVITYBOOK_VAR": str(tmp_path / "data")}).folder("CAVITYBOOK_VAR", default=tmp_path)
    assert folder.stat().st_mode & 0o777 == 0o700


def test_a_folder_that_is_a_file_or_relative_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(ImproperlyConfigured, match="cannot be made"):
        Environment({"CAVITYBOOK_VAR": str(tmp_path / "file")}).folder("CAVITYBOOK_VAR", default=tmp_path)
    with pytest.raises(ImproperlyConfigured, match="full path"):
        Environment({"CAVITYBOOK_VAR": "data"}).folder("CAVITYBOOK_VAR", default=tmp_path)
