"""GeoParquet 1.1: one file per layer, with a covering box so that large sets can be filtered."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.outputs.delivery import Delivery

__all__ = ["write"]


def write(delivery: Delivery, folder: Path) -> None:
    """Write one file for every layer; needs pyarrow."""
    place = folder / "parquet"
    place.mkdir()
    for name, table in delivery.layers.items():
        table.to_parquet(place / f"{name}.parquet", index=False, schema_version="1.1.0", write_covering_bbox=True)
