import pytest

from estimates.filing import write_whole


def test_a_file_is_made_with_its_folder_and_replaced(tmp_path):
    target = tmp_path / "new" / "paper.txt"
    write_whole(target, b"one")
    write_whole(target, b"two")
    assert target.read_bytes() == b"two"
    assert [path.name for path in target.parent.iterdir()] == ["paper.txt"]


def test_a_write_that_fails_leaves_the_old_file_and_no_other(tmp_path, monkeypatch):
    target = tmp_path / "paper.docx"
    write_whole(target, b"old")

    def full(*_: object) -> None:
        raise OSError("no space")

    monkeypatch.setattr("estimates.filing.os.replace", full)
    with pytest.raises(OSError, match="no space"):
        write_whole(target, b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["paper.docx"]
    assert target.read_bytes() == b"old"
