#!/usr/bin/env python3
"""Start of every command of Cavitybook: ``python3 manage.py demo``, ``test``, ``help``.

On a bare machine the first start makes the environment ``.venv`` beside this file, installs the locked packages into it
and goes on inside it; later starts go straight in. Only the standard library is used until then. Set
``CAVITYBOOK_NO_VENV=1`` to run in the Python at hand instead. This file keeps to words that an old Python can read, so
that it can say which Python it needs.
"""

from __future__ import print_function

import sys

NEEDS_PYTHON = (3, 11)

if sys.version_info[:2] < NEEDS_PYTHON:
    sys.stderr.write(
        "Cavitybook needs Python %d.%d or newer; this is %d.%d (%s). Install a newer Python and start with it, "
        "for example: python3.11 manage.py demo\n" % (NEEDS_PYTHON + tuple(sys.version_info[:2]) + (sys.executable,))
    )
    sys.exit(2)

import collections
import contextlib
import hashlib
import importlib.util
import os
import queue
import re
import shutil
import signal
import subprocess
import threading
import time

ROOT = os.path.dirname(os.path.realpath(__file__))
VENV = os.path.join(ROOT, ".venv")
VENV_PYTHON = os.path.join(VENV, "Scripts", "python.exe") if os.name == "nt" else os.path.join(VENV, "bin", "python")
LOCK_FILE = VENV + ".lock"
TO_RUN = "requirements.txt"
TO_TEST = "requirements-test.txt"
# Handed over at the door, so that a Python which reports another folder than .venv cannot go round for ever.
ENTERED = "CAVITYBOOK_ENTERED"


class Halt(Exception):
    """The start cannot go on; the text is a sentence for the reader."""


# --- What is there ----------------------------------------------------------------------------------------------------


def read(path):
    """Return the bytes of a file, or none at all when it cannot be read."""
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return b""


def stamp_file(name):
    """Return where the stamp of one requirements file lies."""
    return os.path.join(VENV, "installed-" + name.replace(".txt", ""))


def stamp_for(name):
    """Return what the stamp must say: this lock file, installed in this folder, by this Python."""
    parts = [VENV.encode(), os.path.realpath(VENV_PYTHON).encode(), read(os.path.join(VENV, "pyvenv.cfg"))]
    parts.append(read(os.path.join(ROOT, name)))
    return hashlib.sha256(b"\0".join(parts)).hexdigest().encode()


def is_installed(name):
    """Tell whether the packages of one requirements file are all in place."""
    return os.path.isfile(VENV_PYTHON) and read(stamp_file(name)) == stamp_for(name)


def is_inside():
    """Tell whether this process already runs in ``.venv``."""
    return os.environ.pop(ENTERED, "") == VENV or os.path.realpath(sys.prefix) == os.path.realpath(VENV)


def package_count(names):
    """Return how many packages the requirements files list."""
    lines = [line for name in names for line in read(os.path.join(ROOT, name)).decode().splitlines()]
    return len({line.partition("==")[0] for line in lines if "==" in line and not line.startswith((" ", "#"))})


# --- What is said meanwhile -------------------------------------------------------------------------------------------


class Progress(object):
    """One line that renews itself on a terminal; elsewhere a plain line now and then.

    Parameters
    ----------
    label : what is being done.
    plain_every : least time between two plain lines. [s]
    """

    def __init__(self, label, plain_every=10.0):
        self.label = label
        self.started = self.last = time.monotonic()
        self.plain_every = plain_every
        self.detail = ""

    def show(self, detail=None):
        """Say how far it is; without `detail` only the time moves on."""
        self.detail = self.detail if detail is None else detail
        now = time.monotonic()
        text = "%s (%d s) %s" % (self.label, now - self.started, self.detail)
        if sys.stderr.isatty():
            width = shutil.get_terminal_size().columns - 1
            sys.stderr.write("\r" + text[:width].ljust(width))
        elif now - self.last >= self.plain_every:
            self.last = now
            sys.stderr.write(text + "\n")
        sys.stderr.flush()

    def close(self, word="done"):
        """Say how it ended and how long it took."""
        start = "\r" if sys.stderr.isatty() else ""
        text = "%s: %s, %d s" % (self.label, word, time.monotonic() - self.started)
        sys.stderr.write(start + (text.ljust(shutil.get_terminal_size().columns - 1) if start else text) + "\n")
        sys.stderr.flush()


def say(text):
    """Write one line for the reader; standard output stays free for what the command itself answers."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


# --- One start at a time ----------------------------------------------------------------------------------------------


def try_lock(file):
    """Take the lock when it is free. The system gives it back when its holder dies, however it dies."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextlib.contextmanager
def the_lock():
    """Hold the lock on ``.venv``; wait while another start prepares it."""
    with open(LOCK_FILE, "a") as file:
        if not try_lock(file):
            progress = Progress("Another start of Cavitybook is preparing .venv; waiting for it", plain_every=30.0)
            say(progress.label + " ...")
            while not try_lock(file):
                progress.show()
                time.sleep(0.2)
            progress.close()
        yield file


@contextlib.contextmanager
def stoppable():
    """Turn a request to end into an exception, so that the children are ended as well."""

    def stop(number, frame):
        raise KeyboardInterrupt

    kinds = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = [(kind, signal.signal(kind, stop)) for kind in kinds]
    try:
        yield
    finally:
        for kind, handler in before:
            signal.signal(kind, handler)


def run(command, hear, lock):
    """Run a program to its end and return its exit code; `hear` gets every line of it, and None each idle second.

    The program gets the lock too: if this start is killed, the next one waits until the program has ended as well.
    """
    options = {} if os.name == "nt" else {"pass_fds": [lock.fileno()], "start_new_session": True}
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, **options
    )
    lines = queue.Queue()

    def pump():
        for line in process.stdout:
            lines.put(line.decode("utf-8", "replace").rstrip())
        lines.put(EOFError)

    threading.Thread(target=pump, daemon=True).start()
    try:
        while True:
            try:
                line = lines.get(timeout=1.0)
            except queue.Empty:
                line = None
            if line is EOFError:
                return process.wait()
            hear(line)
    finally:
        if process.poll() is None:
            process.kill() if os.name == "nt" else os.killpg(process.pid, signal.SIGKILL)
            process.wait()


# --- Making the environment -------------------------------------------------------------------------------------------


def prepare(names):
    """Bring ``.venv`` to the state that the requirements files ask for; the stamps are written last.

    A half-made, copied, moved or outdated environment is made again from nothing: what an interrupted installer left
    behind looks installed and is not.
    """
    with the_lock() as lock, stoppable():
        if all(is_installed(name) for name in names):
            return  # the start we waited for has done it
        if not is_installed(TO_RUN):
            remove_environment()
            say("Preparing Cavitybook: this happens once, and needs the package index.")
            make_environment()
        pip = find_pip()
        missing = [name for name in names if not is_installed(name)]
        standing = [name for name in (TO_RUN, TO_TEST) if is_installed(name)]
        for name in (TO_RUN, TO_TEST):
            with contextlib.suppress(FileNotFoundError):
                os.remove(stamp_file(name))
        try:
            install(pip, missing, lock)
        except Untouched:
            write_stamps(standing)
            raise
        compile_packages(lock)
        write_stamps(standing + missing)


def write_stamps(names):
    """Mark the requirements files as installed."""
    for name in names:
        draft = stamp_file(name) + ".new"
        with open(draft, "wb") as file:
            file.write(stamp_for(name))
        os.replace(draft, stamp_file(name))


def remove_environment():
    """Remove what stands in the place of ``.venv``."""
    if os.path.islink(VENV) or os.path.isfile(VENV):
        os.remove(VENV)
    elif os.path.isdir(VENV):
        shutil.rmtree(VENV)


def make_environment():
    """Make an empty ``.venv``."""
    try:
        import venv
    except ImportError:
        raise Halt("This Python (%s) has no venv module. Install the full Python 3.11 or newer." % sys.executable)
    venv.EnvBuilder(symlinks=os.name != "nt").create(VENV)


def find_pip():
    """Return the command of a pip for ``.venv``: the running Python's, Python's own bundled one, or one on PATH.

    The first serves at once. Some systems split it off, and the bundled one as well.
    """
    # -P: a folder called pip where the user stands is not the installer.
    own = [VENV_PYTHON, "-P", "-m", "pip"]
    candidates = [own, [sys.executable, "-P", "-m", "pip", "--python", VENV_PYTHON]]
    for pip in candidates:
        if answers(pip + ["--version"]):
            return pip
    if answers([VENV_PYTHON, "-P", "-m", "ensurepip"]):
        return own
    for pip in (["pip3", "--python", VENV_PYTHON], ["pip", "--python", VENV_PYTHON]):
        if answers(pip + ["--version"]):
            return pip
    raise Halt(
        "Cavitybook needs pip to install its packages, and this Python (%s) has none. Install it "
        "(on Debian and Ubuntu: apt-get install python3-pip; on Fedora: dnf install python3-pip), "
        "then start again." % sys.executable
    )


def answers(command):
    """Tell whether a program is there and ends well."""
    try:
        quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        return subprocess.call(command, **quiet) == 0
    except OSError:
        return False


class Untouched(Halt):
    """The installer gave up before it changed anything in the environment."""


def install(pip, names, lock):
    """Install the requirements files, every package checked against its hash.

    Parameters
    ----------
    pip : command of the installer.
    names : requirements files.
    lock : open lock file, handed on to the installer.

    Raises
    ------
    Halt : the installer failed; the text holds its last lines.
    """
    command = pip + ["--disable-pip-version-check", "--no-input", "install", "--no-user", "--require-hashes"]
    command += ["--no-compile", "--progress-bar", "off"]
    for name in names:
        command += ["-r", os.path.join(ROOT, name)]
    total = package_count(names)
    progress = Progress("Installing %d packages" % total)
    say(progress.label + " ...")
    last = collections.deque(maxlen=5)
    collected = []
    changing = []

    def hear(line):
        if line is None:
            progress.show()
        elif line.startswith("Collecting "):
            collected.append(line.split()[1])
            progress.show("fetching %d of %d: %s" % (len(collected), total, collected[-1].partition("=")[0]))
        elif line.startswith("Installing collected packages"):
            changing.append(line)
            progress.show("unpacking")
        if line:
            if last and last[-1][:20] == line[:20]:
                last.pop()  # one of a row of lines alike, such as retries, says it
            last.append(line)

    code = run(command, hear, lock)
    if code != 0:
        progress.close("failed")
        raise (Halt if changing else Untouched)(
            "Cavitybook could not install its packages: pip stopped with code %d. Its last lines:\n  %s\n"
            "Check the network (or the PIP_* settings of this machine) and start again." % (code, "\n  ".join(last))
        )
    progress.close()


def compile_packages(lock):
    """Compile what was installed, on all cores; pip would do it on one.

    Here and now even under PYTHONDONTWRITEBYTECODE, where every later start would compile it all again.
    """
    progress = Progress("Compiling")
    # The packages' own tests, a quarter of all lines, are never imported. A few files are for other Pythons and do
    # not compile: no fault.
    skip = re.escape(VENV) + r".*[/\\]tests[/\\]"
    run([VENV_PYTHON, "-P", "-m", "compileall", "-q", "-j", "0", "-x", skip, VENV], lambda line: progress.show(), lock)
    progress.close()


# --- Going in ---------------------------------------------------------------------------------------------------------


def replace_process(python, arguments):
    """Go on as another Python; does not come back."""
    if os.name == "nt":  # exec there would hand the terminal back to the shell at once
        sys.exit(subprocess.call([python] + arguments))
    os.execv(python, [python] + arguments)


def name_this_python():
    """Start again under the full path where the path of this Python is unknown, as in an empty environment."""
    python = os.path.join(sys.base_exec_prefix, "bin", "python%d.%d" % sys.version_info[:2])
    if not os.path.exists(python):
        raise Halt("The path of this Python is unknown. Start it by its full path, for example /usr/bin/python3.")
    replace_process(python, sys.orig_argv[1:])


def enter_environment(names):
    """Go on inside ``.venv`` with the packages of `names` installed.

    Parameters
    ----------
    names : requirements files that the command needs.

    Notes
    -----
    Who starts in ``.venv`` is taken at his word, unless its stamp is there and out of date: then the Python that
    made it repairs it.
    """
    if not sys.executable:
        name_this_python()
    if is_inside():
        stale = [name for name in names if not is_installed(name)]
        if not stale or not os.path.exists(stamp_file(TO_RUN)) or not os.path.isfile(sys._base_executable):
            return
        replace_process(sys._base_executable, sys.orig_argv[1:])
    if not all(is_installed(name) for name in names):
        try:
            prepare(names)
        except OSError as fault:
            raise Halt("Cavitybook cannot make its environment %s: %s." % (VENV, fault))
        except KeyboardInterrupt:
            say("\nStopped. The next start makes good what is unfinished.")
            sys.exit(130)
    os.environ[ENTERED] = VENV
    replace_process(VENV_PYTHON, sys.orig_argv[1:])


# --- The command ------------------------------------------------------------------------------------------------------

NOT_A_PATH = ("-k", "-m", "-p", "-o", "-W", "-c", "-r")
A_PATH = ("--basetemp", "--junitxml", "--junit-xml", "--log-file", "--output")


def from_project(arguments, here):
    """Return pytest's arguments as they read from the project's folder.

    Parameters
    ----------
    arguments : as typed.
    here : folder in which they were typed; a path that exists there is meant, another is the project's own.
    """
    moved = []
    before = ""
    for argument in arguments:
        option, equals, value = argument.partition("=")
        path, colons, test = argument.partition("::")
        if option in A_PATH and equals:
            argument = option + "=" + os.path.join(here, value)
        elif before in A_PATH:
            argument = os.path.join(here, argument)
        elif not argument.startswith("-") and before not in NOT_A_PATH and os.path.exists(os.path.join(here, path)):
            argument = os.path.join(here, path) + colons + test
        moved.append(argument)
        before = argument
    return moved


def at_once():
    """Return pytest's options for the whole suite: a file of tests at a time for each processor, four at most."""
    processors = min(4, os.cpu_count() or 1)
    return ["-n", str(processors), "--dist", "loadfile"] if processors > 1 else []


def run_tests(arguments):
    """Become pytest, in the project's folder, with all its options; without any, the whole suite runs side by side."""
    import pytest

    arguments = arguments or at_once()
    here = os.getcwd()
    if os.path.realpath(here) != ROOT:
        arguments = from_project(arguments, here)
        os.chdir(ROOT)
    return pytest.main(arguments)


def run_django():
    """Hand the command line to Django; wrong settings are a sentence, not a traceback."""
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as fault:
        raise Halt("Cavitybook cannot start: %s" % fault)


def main():
    """Find or make the environment, then run the command in it."""
    testing = sys.argv[1:2] == ["test"]
    if os.environ.get("CAVITYBOOK_NO_VENV", "").lower() in ("", "0", "no", "false", "off"):
        enter_environment([TO_RUN, TO_TEST] if testing else [TO_RUN])
    if ROOT not in sys.path:
        sys.path.insert(0, ROOT)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    if importlib.util.find_spec("pytest" if testing else "django") is None:
        raise Halt(
            "The packages of %s are not installed in %s. Start without CAVITYBOOK_NO_VENV, or remove .venv and start "
            "with the Python of the system." % (TO_TEST if testing else TO_RUN, sys.prefix)
        )
    return run_tests(sys.argv[2:]) if testing else run_django()


if __name__ == "__main__":
    try:
        code = main()
    except Halt as halt:
        say(str(halt))
        code = 1
    except KeyboardInterrupt:
        code = 130
    sys.exit(code)
