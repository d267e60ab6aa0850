"""The worked example of a writer in DEVELOPERS.md, taken from the page and run."""

from __future__ import annotations

import re
from pathlib import Path

from parcelfence.outputs import registry
from parcelfence.outputs.writer import CONTRACT, Writer
from tests.sample import sample_plan

PAGE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_writer_of_the_page_writes_its_file(tmp_path: Path, monkeypatch) -> None:  # noqa: ANN001
    (program,) = re.findall(r"```python\n# legs_writer.py\n(.*?)```", PAGE, re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(program, "legs_writer.py", "exec"), names)  # noqa: S102
    writer = names["legs"]
    assert isinstance(writer, Writer)
    assert writer.contract == CONTRACT
    monkeypatch.setattr(registry, "plugins", lambda: registry.Plugins(writers={"legs": writer}, faults={}))
    sample_plan().write(tmp_path / "out", formats=["legs"])
    lines = (tmp_path / "out" / "legs.txt").read_text().splitlines()
    assert len(lines) == len(sample_plan().take_off.sequence.legs)
    assert lines[0].startswith("1 lead_in")
