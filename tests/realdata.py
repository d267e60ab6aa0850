"""The real data sets of the developers, which stand beside the repository and may be absent elsewhere."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_FOLDER = Path(__file__).parents[1].parent / "shared" / "data"


def real_data(name: str) -> Path:
    """Give a file or folder of the real data.

    Parameters
    ----------
    name : str
        Path within the data folder, such as ``vt_guilford/parcels.geojson``.

    Returns
    -------
    Path
        It exists. Where it does not, the test is skipped with the reason; where ``CI=true`` it fails.
    """
    path = _FOLDER / name
    if not path.exists():
        reason = f"the real data set {name} is not at {path}"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    return path
