"""The output folder: whole or not at all, whatever happens."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from parcelfence.errors import OutputError
from parcelfence.outputs import folder as folder_module
from parcelfence.outputs.folder import check_target, whole_folder

if TYPE_CHECKING:
    from pathlib import Path


def _fill(folder: Path, word: str) -> None:
    """Write three files that belong together, the list of them last."""
    (folder / "geojson").mkdir()
    (folder / "geojson" / "a.geojson").write_text(word)
    (folder / "b.txt").write_text(word)
    files = {"geojson/a.geojson": {}, "b.txt": {}, "summary.json": {}}
    summary = {"program": {"name": "parcelfence"}, "files": files, "word": word}
    (folder / "summary.json").write_text(json.dumps(summary))


def _words(folder: Path) -> set[str]:
    texts = {path.read_text() for path in (folder / "geojson" / "a.geojson", folder / "b.txt")}
    return texts | {json.loads((folder / "summary.json").read_text())["word"]}


@pytest.fixture
def old(tmp_path: Path) -> Path:
    target = tmp_path / "out"
    with whole_folder(target) as part:
        _fill(part, "old")
    return target


def test_a_new_folder_appears_whole(old: Path) -> None:
    assert _words(old) == {"old"}
    assert [path.name for path in old.parent.iterdir()] == ["out"]


def test_an_existing_folder_is_refused(old: Path) -> None:
    with pytest.raises(OutputError, match="exists already"), whole_folder(old) as part:
        _fill(part, "new")
    assert _words(old) == {"old"}


def test_an_older_plan_is_replaced(old: Path) -> None:
    with whole_folder(old, overwrite=True) as part:
        _fill(part, "new")
    assert _words(old) == {"new"}
    assert [path.name for path in old.parent.iterdir()] == ["out"]


def test_an_older_plan_is_replaced_without_exchange(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_module, "_exchange", lambda *_: False)
    with whole_folder(old, overwrite=True) as part:
        _fill(part, "new")
    assert _words(old) == {"new"}
    assert [path.name for path in old.parent.iterdir()] == ["out"]


def test_what_a_kill_between_two_renames_left_is_put_right(old: Path) -> None:
    old.rename(old.parent / ".out.parcelfence-kept")
    with pytest.raises(OutputError, match="exists already"), whole_folder(old):
        pass
    assert _words(old) == {"old"}


@pytest.mark.parametrize("stranger", ["notes.txt", "geojson/mine.geojson", "project.qgz"])
def test_a_folder_with_other_files_is_never_replaced(old: Path, stranger: str) -> None:
    (old / stranger).write_text("mine")
    with pytest.raises(OutputError, match="did not write: " + stranger), whole_folder(old, overwrite=True):
        pass
    assert (old / stranger).read_text() == "mine"


def test_a_folder_that_is_none_of_ours_is_never_replaced(tmp_path: Path) -> None:
    documents = tmp_path / "Documents"
    documents.mkdir()
    (documents / "letter.txt").write_text("dear")
    (documents / "summary.json").write_text('{"files": ["letter.txt"]}')
    with pytest.raises(OutputError, match=r"letter\.txt"):
        check_target(documents, overwrite=True)


def test_what_other_programs_leave_beside_a_layer_file_does_no_harm(tmp_path: Path) -> None:
    target = tmp_path / "out"
    with whole_folder(target) as part:
        (part / "plan.gpkg").write_text("")
        summary = {"program": {"name": "parcelfence"}, "files": {"plan.gpkg": {}, "summary.json": {}}}
        (part / "summary.json").write_text(json.dumps(summary))
    for companion in ("plan.gpkg-wal", "plan.gpkg-shm", ".DS_Store"):
        (target / companion).write_text("")
    check_target(target, overwrite=True)


def test_files_and_links_are_not_written_through(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    for name, reason in (
        ("file", "a file"),
        ("link", "a link"),
        ("dangling", "a link"),
        ("file/below", "not a folder"),
    ):
        with pytest.raises(OutputError, match=reason), whole_folder(tmp_path / name, overwrite=True):
            pass
    assert (tmp_path / "file").read_text() == "mine"
    assert not list((tmp_path / "real").iterdir())


def test_a_missing_parent_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="Make it first"):
        check_target(tmp_path / "no" / "such" / "place", overwrite=False)


def test_an_error_leaves_the_old_folder_and_nothing_else(old: Path) -> None:
    def fail() -> None:
        with whole_folder(old, overwrite=True) as part:
            (part / "b.txt").write_text("new")
            raise RuntimeError("on the way")

    with pytest.raises(RuntimeError, match="on the way"):
        fail()
    assert _words(old) == {"old"}
    assert [path.name for path in old.parent.iterdir()] == ["out"]


def test_a_full_disk_is_one_message(old: Path) -> None:
    def fail() -> None:
        with whole_folder(old, overwrite=True):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(OutputError, match="No space left on device"):
        fail()
    assert _words(old) == {"old"}


def test_left_overs_of_killed_runs_are_swept_and_running_ones_are_not(old: Path) -> None:
    left = old.parent / ".out.parcelfence-part-1-dead"
    left.mkdir()
    (left / "b.txt").write_text("half")
    other = old.parent / ".outer.parcelfence-part-1-dead"
    other.mkdir()
    with whole_folder(old, overwrite=True) as running:
        with whole_folder(old, overwrite=True) as part:
            _fill(part, "second")
        assert running.is_dir()
        _fill(running, "first")
    assert not left.exists()
    assert other.is_dir()
    assert _words(old) == {"first"}


_WRITER = """
import json, sys, time
from pathlib import Path
sys.path.insert(0, {tests!r})
from test_folder import _fill
from parcelfence.outputs import folder
if {two_renames}:
    folder._exchange = lambda *_: False
print("ready", flush=True)
number = 0
while True:
    number += 1
    with folder.whole_folder(Path({target!r}), overwrite=True) as part:
        _fill(part, "new" + str(number))
"""


_FULL = """
import resource, signal, sys
sys.path.insert(0, {tests!r})
from plan_fixture import hand_made_plan
from parcelfence.errors import OutputError
from parcelfence.outputs.registry import write
plan = hand_made_plan()
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
for form in ("gpkg", "dxf", "map"):
    try:
        write(plan, {target!r}, formats=[form])
    except OutputError:
        print(form, "refused")
"""


@pytest.mark.parametrize("two_renames", [False, True])
def test_a_kill_at_any_moment_leaves_one_whole_folder(old: Path, *, two_renames: bool) -> None:
    """Kill a process that does nothing but replace the folder, at twelve moments."""
    code = _WRITER.format(tests=os.path.dirname(__file__), target=str(old), two_renames=two_renames)  # noqa: PTH120
    for moment in range(12):
        process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(0.003 + 0.0037 * moment)
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        kept = old.parent / ".out.parcelfence-kept"
        if two_renames and not old.exists():
            assert len(_words(kept)) == 1
        else:
            assert len(_words(old)) == 1
    with whole_folder(old, overwrite=True) as part:
        _fill(part, "last")
    assert _words(old) == {"last"}
    assert [path.name for path in old.parent.iterdir()] == ["out"]


def test_a_disk_that_fills_while_a_plan_is_written_leaves_nothing(tmp_path: Path) -> None:
    """A limit on file sizes stands for the full disk: the system refuses the write in the same way."""
    code = _FULL.format(tests=os.path.dirname(__file__), target=str(tmp_path / "out"))  # noqa: PTH120
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["gpkg refused", "dxf refused", "map refused"]
    assert not list(tmp_path.iterdir())
