import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from config.secret_key import secret_key_from

ROOT = Path(__file__).resolve().parents[2]


def test_a_key_is_made_once_and_only_its_owner_may_read_it(tmp_path: Path) -> None:
    path = tmp_path / "secret_key"
    first = secret_key_from(path)
    assert len(first) >= 50
    assert secret_key_from(path) == first
    assert path.stat().st_mode & 0o777 == 0o600
    assert list(tmp_path.iterdir()) == [path]


def test_processes_that_start_together_agree_on_one_key(tmp_path: Path) -> None:
    code = (
        "from pathlib import Path; from config.secret_key import secret_key_from; "
        f"print(secret_key_from(Path({str(tmp_path)!r}) / 'k'))"
    )
    starts = [
        subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True) for _ in range(4)
    ]
    keys = {start.communicate(timeout=60)[0] for start in starts}
    assert len(keys) == 1
    assert len(keys.pop().strip()) >= 50


def test_a_key_file_that_was_cut_short_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "secret_key"
    path.write_text("short")
    with pytest.raises(ImproperlyConfigured, match="Delete the file and start again"):
        secret_key_from(path)
