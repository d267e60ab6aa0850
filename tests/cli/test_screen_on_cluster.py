"""Screening where processes die: workers of a Dask cluster, and the run itself."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from parcelfence.cli.screen import screen
from tests.sample import SAMPLE

if TYPE_CHECKING:
    from collections.abc import Callable, Generator
    from pathlib import Path

LOTS = SAMPLE / "parcels.geojson"
ONE_BY_ONE = "from parcelfence import screening; screening.SLICE = 1; from parcelfence.cli.main import main; main()"
REACHES = ("--reaches", "1.5 m,2 m")
PATIENCE_S = 120.0


def command(table: Path, *options: str) -> list[str]:
    assert screen.name == "screen"
    return [sys.executable, "-c", ONE_BY_ONE, "screen", str(LOTS), *REACHES, "--out", str(table), *options]


def wait_for(thing: Callable[[], object], *, during: subprocess.Popen[bytes] | None = None) -> None:
    end = time.monotonic() + PATIENCE_S
    while not thing():
        assert time.monotonic() < end
        assert during is None or during.poll() is None, "it ended before it could be disturbed"
        time.sleep(0.02)


def finished_parts(table: Path) -> int:
    return len(list(table.parent.glob(f".{table.name}.parts/*.part")))


@contextmanager
def started(*arguments: str) -> Generator[subprocess.Popen[bytes]]:
    with subprocess.Popen([sys.executable, *arguments], stderr=subprocess.DEVNULL) as process:
        try:
            yield process
        finally:
            process.kill()


def test_a_killed_worker_of_a_cluster_costs_no_row(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    where = tmp_path / "scheduler.json"
    worker = ("-m", "distributed.cli.dask_worker", "--scheduler-file", str(where), "--nthreads", "1", "--no-nanny")
    with started(
        "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(where)
    ):
        wait_for(where.exists)
        address = json.loads(where.read_text())["address"]
        with started(*worker, "--name", "one") as one, started(*worker, "--name", "two"):
            table = tmp_path / "cluster.csv"
            with subprocess.Popen(command(table, "--cluster", address), stderr=subprocess.DEVNULL) as run:
                wait_for(lambda: finished_parts(table), during=run)
                one.kill()
                assert run.wait(PATIENCE_S) == 0
    subprocess.run(command(tmp_path / "alone.csv", "--workers", "1"), check=True, stderr=subprocess.DEVNULL)
    assert table.read_bytes() == (tmp_path / "alone.csv").read_bytes()
    assert table.read_text().count("planned") >= 6


def test_a_run_that_is_killed_ends_with_the_same_bytes(tmp_path: Path) -> None:
    table = tmp_path / "killed.gpkg"
    with subprocess.Popen(command(table, "--workers", "2"), stderr=subprocess.DEVNULL) as run:
        wait_for(lambda: finished_parts(table), during=run)
        run.send_signal(signal.SIGKILL)
        run.wait()
    assert not table.exists()
    ended = subprocess.run(command(table, "--workers", "2"), check=True, capture_output=True, text=True)
    assert "leaked" not in ended.stderr
    (tmp_path / "undisturbed").mkdir()
    undisturbed = tmp_path / "undisturbed" / table.name
    subprocess.run(command(undisturbed, "--workers", "1"), check=True, stderr=subprocess.DEVNULL)
    assert table.read_bytes() == undisturbed.read_bytes()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []
