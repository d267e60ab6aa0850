"""A long attack, counted by class: ``python -m tests.attack.run plans|wires|files COUNT [FIRST_SEED]``."""

from __future__ import annotations

import faulthandler
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.attack.attacking import attack_check, attack_plan
from tests.attack.mutating import attack_file, originals

BATCH = 50


def main() -> None:
    """Attack, and print what was found."""
    what, count = sys.argv[1], int(sys.argv[2])
    first = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    kinds: Counter[str] = Counter()
    classes: Counter[str] = Counter()
    if what == "batch":
        _batch(first, count)
        return
    if what == "files":
        _files(first, count, kinds, classes)
    else:
        _designs(what, range(first, first + count), kinds, classes)
    print(dict(kinds))
    for name, number in classes.most_common(40):
        print(f"{number:6d}  {name}")


def _designs(what: str, seeds: range, kinds: Counter[str], classes: Counter[str]) -> None:
    for seed in seeds:
        outcome = attack_plan(seed) if what == "plans" else attack_check(seed)
        if outcome is None:
            continue
        kinds[outcome.kind] += 1
        if outcome.kind in {"silent", "exception"}:
            classes.update(sorted({wrong.what for wrong in outcome.silent}) or [outcome.reason[:90]])
            print(seed, outcome.digitised, outcome.kind, outcome.silent[:2] or outcome.reason[:200], flush=True)
        elif outcome.kind == "refused":
            classes[f"refused: {outcome.digitised} {outcome.reason[:60]}"] += 1


def _files(first: int, count: int, kinds: Counter[str], classes: Counter[str]) -> None:
    """Attack in batches, each in a process of its own, for a library may bring its process down."""
    for start in range(first, first + count, BATCH):
        words = [sys.executable, "-m", "tests.attack.run", "batch", str(min(BATCH, first + count - start)), str(start)]
        done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=1800)
        for line in done.stdout.splitlines():
            number, _, wrong = line.partition(" ")
            kinds["wrong" if wrong else "contained"] += 1
            if wrong:
                classes[wrong[:110]] += 1
                print(number, wrong[:300], flush=True)
        if done.returncode:
            kinds["process down"] += 1
            print(start, "process down", done.stderr[-600:], flush=True)


def _batch(first: int, count: int) -> None:
    faulthandler.enable()
    with tempfile.TemporaryDirectory() as made, tempfile.TemporaryDirectory() as work:
        files = originals(Path(made))
        for seed in range(first, first + count):
            original = files[seed % len(files)]
            wrong = attack_file(original, seed=seed, folder=Path(work))
            print(f"{seed}:{original.name}", " ".join(wrong.split()), flush=True)


if __name__ == "__main__":
    main()
