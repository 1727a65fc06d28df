"""The first start on a bare machine, with a small package index of its own: nothing is fetched.

All checks here are of behaviour (D): the real `manage.py` runs in a copy of the project's top folder whose lock files
list two small stand-ins for Django and pytest that report where they run.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest

MANAGE = Path(__file__).resolve().parents[2] / "manage.py"
BASE_PYTHON = sys._base_executable  # type: ignore[attr-defined]
QUIET = {"PYTHONDONTWRITEBYTECODE": "1"}

REPORT = """
import json, os, sys
def report(arguments):
    print(json.dumps({"arguments": list(arguments), "prefix": sys.prefix, "cwd": os.getcwd()}))
    return 0
"""
DJANGO = {
    "django/__init__.py": "",
    "django/core/__init__.py": REPORT,
    "django/core/exceptions.py": "class ImproperlyConfigured(Exception): pass\n",
    "django/core/management.py": """
from django.core import report
from django.core.exceptions import ImproperlyConfigured
def execute_from_command_line(arguments):
    if "nonsense" in arguments:
        raise ImproperlyConfigured("CAVITYBOOK_DEBUG is odd. Enter 1 or 0.")
    report(arguments[1:])
""",
}
PYTEST = {"pytest/__init__.py": REPORT + "main = report\n"}


def build_wheel(folder: Path, name: str, files: dict[str, str]) -> str:
    """Write a wheel and return its line for a lock file."""
    info = f"{name}-1.0.dist-info"
    files = files | {
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    rows = []
    path = folder / f"{name}-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for member, text in files.items():
            digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
            rows.append(f"{member},sha256={digest},{len(text.encode())}")
            archive.writestr(member, text)
        archive.writestr(f"{info}/RECORD", "\n".join([*rows, f"{info}/RECORD,,", ""]))
    return f"{name}==1.0 --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"


class Project:
    """A copy of the top folder: manage.py and two lock files."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.manage = root / "manage.py"
        self.venv = root / ".venv"
        wheels = root / "wheels"
        wheels.mkdir(parents=True)
        shutil.copy(MANAGE, self.manage)
        source = "--no-index\n--find-links wheels\n"
        (root / "requirements.txt").write_text(source + build_wheel(wheels, "django", DJANGO))
        (root / "requirements-test.txt").write_text(source + build_wheel(wheels, "pytest", PYTEST))

    def command(self, *arguments: str) -> list[str]:
        """Return the command line of a start by the Python that made the test's own environment."""
        return [BASE_PYTHON, str(self.manage), *arguments]

    def start(
        self, *arguments: str, env: dict[str, str] | None = None, cwd: Path | None = None
    ) -> subprocess.CompletedProcess[str]:
        """Start and wait; the environment holds nothing but `env`."""
        return subprocess.run(
            self.command(*arguments), env=env or {}, cwd=cwd or self.root, capture_output=True, text=True, timeout=120
        )

    def begin(self, *arguments: str, env: dict[str, str] | None = None) -> subprocess.Popen[str]:
        """Start without waiting."""
        return subprocess.Popen(
            self.command(*arguments),
            env=env or {},
            cwd=self.root,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def stamps(self) -> list[str]:
        """Names of the stamps."""
        return sorted(path.name for path in self.venv.glob("installed-*"))


def said(result: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    """What the stand-in for Django or pytest reported."""
    assert result.returncode == 0, result.stderr
    answer: dict[str, Any] = json.loads(result.stdout)
    return answer


def wait_for_line(process: subprocess.Popen[str], word: str) -> None:
    """Read what the start says until a line holds `word`."""
    assert process.stderr is not None
    for line in process.stderr:
        if word in line:
            return
    raise AssertionError(f"the start ended without saying {word!r}")


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return Project(tmp_path / "a folder with blanks")


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Project:
    project = Project(tmp_path_factory.mktemp("prepared") / "project")
    first = project.start("hello", env=QUIET)
    assert said(first)["arguments"] == ["hello"]
    assert "Installing 1 packages" in first.stderr
    return project


def test_the_first_start_runs_the_command_inside_its_own_environment(prepared: Project) -> None:
    answer = said(prepared.start("demo", "--port", "8001"))
    assert answer == {
        "arguments": ["demo", "--port", "8001"],
        "prefix": str(prepared.venv),
        "cwd": str(prepared.root),
    }


def test_installed_packages_are_compiled_even_when_python_is_told_to_write_no_bytecode(prepared: Project) -> None:
    package = next(prepared.venv.glob("lib/python*/site-packages/django"))
    assert list(package.glob("__pycache__/__init__.*.pyc"))


def test_a_later_start_says_nothing_and_needs_no_package_index(prepared: Project) -> None:
    wheels = prepared.root / "wheels"
    away = wheels.rename(prepared.root / "wheels.away")
    try:
        result = prepared.start("demo")
    finally:
        away.rename(wheels)
    assert said(result)["arguments"] == ["demo"]
    assert result.stderr == ""


def test_a_start_from_elsewhere_keeps_the_folder_of_the_caller(prepared: Project, tmp_path: Path) -> None:
    assert said(prepared.start("estimate", "HOUSE.json", cwd=tmp_path))["cwd"] == str(tmp_path)


def test_a_folder_named_pip_or_django_where_the_caller_stands_is_not_picked_up(
    prepared: Project, tmp_path: Path
) -> None:
    for name in ("pip", "django"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("raise RuntimeError('picked up')\n")
    assert said(prepared.start("demo", cwd=tmp_path, env={"PYTHONSAFEPATH": "1"}))["arguments"] == ["demo"]


def test_options_of_python_itself_survive(prepared: Project) -> None:
    command = [BASE_PYTHON, "-X", "dev", "-W", "ignore", str(prepared.manage), "demo"]
    result = subprocess.run(command, env={}, capture_output=True, text=True, timeout=60)
    assert said(result)["arguments"] == ["demo"]


def test_wrong_settings_are_a_sentence_and_no_traceback(prepared: Project) -> None:
    result = prepared.start("nonsense")
    assert (result.returncode, result.stderr) == (
        1,
        "Cavitybook cannot start: CAVITYBOOK_DEBUG is odd. Enter 1 or 0.\n",
    )


def test_the_environment_can_be_left_out_and_then_missing_packages_are_named(project: Project) -> None:
    result = project.start("demo", env={"CAVITYBOOK_NO_VENV": "1", "PYTHONPATH": ""})
    if result.returncode == 0:
        pytest.skip("this Python has a Django of its own")
    assert result.returncode == 1
    assert "requirements.txt are not installed" in result.stderr
    assert not project.venv.exists()


def test_a_failing_test_installation_leaves_the_running_environment_usable(prepared: Project) -> None:
    wheel = prepared.root / "wheels" / "pytest-1.0-py3-none-any.whl"
    away = wheel.rename(prepared.root / wheel.name)
    try:
        failed = prepared.start("test")
        assert failed.returncode == 1
        assert "pip stopped with code 1" in failed.stderr
        assert "No matching distribution found for pytest==1.0" in failed.stderr
        demo = prepared.start("demo")
    finally:
        away.rename(wheel)
    assert said(demo)["arguments"] == ["demo"]
    assert demo.stderr == ""


def test_the_test_command_installs_its_packages_and_hands_on_paths_from_any_folder(
    prepared: Project, tmp_path: Path
) -> None:
    (tmp_path / "mine.py").write_text("")
    answer = said(prepared.start("test", "-k", "mine.py", "mine.py::test_x", "tests/there", "-x", cwd=tmp_path))
    assert answer["cwd"] == str(prepared.root)
    assert answer["arguments"] == ["-k", "mine.py", f"{tmp_path}/mine.py::test_x", "tests/there", "-x"]
    assert prepared.stamps() == ["installed-requirements", "installed-requirements-test"]


def test_two_starts_at_once_prepare_one_environment(project: Project) -> None:
    first = project.begin("one")
    wait_for_line(first, "Installing")
    second = project.start("two")
    assert "Another start of Cavitybook is preparing .venv; waiting for it" in second.stderr
    assert "Installing" not in second.stderr
    assert said(second)["arguments"] == ["two"]
    out, _ = first.communicate(timeout=60)
    assert json.loads(out)["arguments"] == ["one"]


@pytest.mark.parametrize("kind", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_installation_leaves_no_stamp_and_the_next_start_repairs_it(
    project: Project, kind: signal.Signals
) -> None:
    first = project.begin("demo")
    wait_for_line(first, "Installing")
    first.send_signal(kind)
    first.communicate(timeout=30)
    assert first.returncode == 130
    assert project.stamps() == []
    # What an installer leaves when it is cut off: it looks installed and is not.
    half = project.venv / "lib" / f"python3.{sys.version_info.minor}" / "site-packages"
    shutil.rmtree(half, ignore_errors=True)
    (half / "django-1.0.dist-info").mkdir(parents=True)
    (half / "django-1.0.dist-info" / "METADATA").write_text("Metadata-Version: 2.1\nName: django\nVersion: 1.0\n")
    assert said(project.start("demo"))["arguments"] == ["demo"]
    assert project.stamps() == ["installed-requirements"]


def test_an_environment_that_was_copied_or_lost_its_python_is_made_again(prepared: Project, tmp_path: Path) -> None:
    root = tmp_path / "copy"
    shutil.copytree(prepared.root, root, symlinks=True)
    copied = subprocess.run([BASE_PYTHON, "manage.py", "demo"], cwd=root, env={}, capture_output=True, text=True)
    assert said(copied)["prefix"] == str(root / ".venv")
    assert "Preparing Cavitybook" in copied.stderr

    for path in (root / ".venv" / "bin").glob("python*"):
        path.unlink()
        path.symlink_to(tmp_path / "gone")
    again = subprocess.run([BASE_PYTHON, "manage.py", "demo"], cwd=root, env={}, capture_output=True, text=True)
    assert said(again)["prefix"] == str(root / ".venv")
    assert "Preparing Cavitybook" in again.stderr


def test_changed_lock_files_are_installed_also_when_started_by_the_python_inside(prepared: Project) -> None:
    with (prepared.root / "requirements.txt").open("a") as file:
        file.write(build_wheel(prepared.root / "wheels", "added", {"added.py": ""}))
    inside = [str(prepared.venv / "bin" / "python"), str(prepared.manage), "demo"]
    result = subprocess.run(inside, env={}, capture_output=True, text=True, timeout=60)
    assert said(result)["prefix"] == str(prepared.venv)
    assert "Installing 2 packages" in result.stderr
    assert list(prepared.venv.glob("lib/python*/site-packages/added.py"))


class TestWithoutPip:
    """A Python from which the system has split off both pip and its bundled copy."""

    @pytest.fixture
    def split(self, tmp_path: Path) -> dict[str, str]:
        for name in ("pip", "ensurepip"):
            package = tmp_path / "split" / name
            package.mkdir(parents=True)
            (package / "__init__.py").write_text("raise ImportError('split off')\n")
        return {"PYTHONPATH": str(tmp_path / "split"), "PATH": str(tmp_path / "bin")}

    def test_a_start_says_what_to_install(self, project: Project, split: dict[str, str]) -> None:
        result = project.start("demo", env=split)
        assert result.returncode == 1
        assert result.stderr.splitlines()[-1].startswith("Cavitybook needs pip to install its packages")
        assert "Traceback" not in result.stderr
        assert project.stamps() == []

    def write_pip(self, split: dict[str, str], first: str = "") -> None:
        """Put a pip on the PATH that does `first` before it installs."""
        script = Path(split["PATH"]) / "pip3"
        script.parent.mkdir()
        script.write_text(
            f'#!/bin/sh\nunset PYTHONPATH\ncase "$*" in *install*) {first or ":"} ;; esac\n'
            f'exec "{BASE_PYTHON}" -m pip "$@"\n'
        )
        script.chmod(0o755)

    def test_a_pip_on_the_path_will_do(self, project: Project, split: dict[str, str]) -> None:
        self.write_pip(split)
        assert said(project.start("demo", env=split))["prefix"] == str(project.venv)

    def test_the_next_start_waits_for_the_installer_of_a_killed_one(
        self, project: Project, split: dict[str, str]
    ) -> None:
        began, ended = project.root / "began", project.root / "ended"
        self.write_pip(split, f'touch "{began}"; /bin/sleep 2; touch "{ended}"'.replace("touch", "/usr/bin/touch"))
        killed = project.begin("demo", env=split)
        patience = time.monotonic() + 30
        while not began.exists() and time.monotonic() < patience:
            time.sleep(0.05)
        killed.kill()
        killed.communicate(timeout=30)
        assert not ended.exists()
        assert project.stamps() == []
        second = project.start("demo")
        assert "waiting for it" in second.stderr
        assert ended.exists()
        assert said(second)["arguments"] == ["demo"]


def test_a_python_whose_own_path_is_unknown_finds_itself(prepared: Project) -> None:
    # Called by a bare name with an empty PATH, Python does not know where it lies.
    result = subprocess.run(
        ["python3", str(prepared.manage), "demo"], executable=BASE_PYTHON, env={}, capture_output=True, text=True
    )
    assert said(result)["prefix"] == str(prepared.venv)
