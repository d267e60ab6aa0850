"""Alternatives side by side: one table, a small picture of each, and the plan of the one that is chosen."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
import shapely

from parcelfence import __version__
from parcelfence.errors import Fault, OutputError
from parcelfence.layers import PROGRAM, SUMMARY
from parcelfence.outputs.cautions import CAUTIONS
from parcelfence.outputs.escaping import csv_text, html_text
from parcelfence.outputs.folder import whole_folder
from parcelfence.outputs.picture import picture
from parcelfence.outputs.registry import write as write_plan
from parcelfence.outputs.style import style_of
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parcelfence.alternatives import Alternative, Comparison

__all__ = ["COLUMNS", "comparison_record", "comparison_table", "write_comparison"]

COLUMNS: Final = {
    "number": "Int64",
    "layout": "str",
    "reach_m": "float64",
    "not_beaten": "bool",
    "free_m2": "float64",
    "free_share_of_lot": "float64",
    "wire_m": "float64",
    "crossings": "Int64",
    "hand_dug_m": "float64",
    "cut_m": "float64",
    "flags": "Int64",
    "must_fix": "Int64",
    "cautions": "Int64",
    "cost": "float64",
    "reason": "str",
}
"""Columns of the table with their types; lengths in metres, areas in square metres."""
_PAGE, _CSV, _PLAN = "compare.html", "compare.csv", "plan"
_STYLE: Final = Path(__file__).with_name("comparison.css")


def comparison_table(comparison: Comparison) -> pd.DataFrame:
    """Give one row for each alternative.

    Parameters
    ----------
    comparison : Comparison
        From :func:`parcelfence.compare`.

    Returns
    -------
    DataFrame
        With the columns of :data:`COLUMNS`; what an alternative without a plan does not have is missing, and its
        ``reason`` says why there is none.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> table = parcelfence.comparison_table(parcelfence.compare(site, reaches=["4 ft", "6 ft"]))
    >>> table[["number", "layout", "must_fix"]].to_numpy().tolist()
    [[1, 'whole-lot', 0], [2, 'whole-lot', 0]]
    """
    rows = [_row(one, lot_m2=comparison.site.parcel.area) for one in comparison.alternatives]
    return pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=kind) for name, kind in COLUMNS.items()})


def write_comparison(
    comparison: Comparison, directory: Path | str, *, overwrite: bool = False, choose: int | None = None
) -> Path:
    """Write table and pictures into a folder, whole or not at all.

    Parameters
    ----------
    comparison : Comparison
        From :func:`parcelfence.compare`.
    directory : path
        The folder; it must not exist, unless `overwrite` is set and it holds an earlier comparison or plan.
    overwrite : bool
        Replace what stands there.
    choose : int, optional
        Number of the alternative whose plan is written as well, into the folder ``plan`` in it.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If it cannot be written, or the chosen alternative has no plan; what stood there still stands.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> import tempfile
    >>> comparison = parcelfence.compare(site, reaches=["4 ft", "6 ft"])
    >>> folder = parcelfence.write_comparison(comparison, tempfile.mkdtemp() + "/ways")
    >>> sorted(path.name for path in folder.iterdir())
    ['compare.csv', 'compare.html', 'summary.json']
    """
    chosen = None if choose is None else _chosen(comparison, choose)
    target = Path(directory)
    with whole_folder(target, overwrite=overwrite) as folder:
        (folder / _PAGE).write_text(_page(comparison, choose=choose), encoding="utf-8", newline="\n")
        _write_csv(comparison, folder / _CSV)
        if chosen is not None and chosen.plan is not None:
            write_plan(chosen.plan, folder / _PLAN)
        files = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
        content = {
            "program": {"name": PROGRAM, "version": __version__},
            **comparison_record(comparison, choose=choose),
            "settings": comparison.settings.model_dump(),
            "files": {name: "comparison" if "/" not in name else "plan" for name in [*files, SUMMARY]},
        }
        text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1)
        (folder / SUMMARY).write_text(text + "\n", encoding="utf-8", newline="\n")
    return target


def _chosen(comparison: Comparison, number: int) -> Alternative:
    for one in comparison.alternatives:
        if one.number == number:
            if one.plan is None:
                raise OutputError(Fault(where=f"alternative {number}", found=f"it has no plan: {one.reason}"))
            return one
    raise OutputError(
        Fault(
            where="the chosen alternative",
            found=f"there is no number {number}",
            must=f"the alternatives are numbered 1 to {len(comparison.alternatives)}",
            remedy="look at the table first, then choose",
        )
    )


def _row(one: Alternative, *, lot_m2: float) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row |= {"number": one.number, "layout": one.settings.layout, "reach_m": one.settings.reach_m}
    row |= {"not_beaten": not one.beaten and one.plan is not None, "reason": one.reason}
    if one.plan is not None:
        counted = ("free_m2", "wire_m", "crossings", "hand_dug_m", "cut_m", "flags", "must_fix", "cautions", "cost")
        row |= {name: getattr(one, name) for name in counted}
        row["free_share_of_lot"] = one.free_m2 / lot_m2
    return row


def _write_csv(comparison: Comparison, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for one in comparison.alternatives:
            row = _row(one, lot_m2=comparison.site.parcel.area)
            writer.writerow([_cell(row[name]) for name in COLUMNS])


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.3f}" if isinstance(value, float) else csv_text(value)


def comparison_record(comparison: Comparison, *, choose: int | None) -> dict[str, Any]:
    """Give what the table says, ready for :func:`json.dumps`; what an alternative does not have is null."""
    rows = [_row(one, lot_m2=comparison.site.parcel.area) for one in comparison.alternatives]
    return {
        "site": {"name": comparison.site.name, "parcel_id": comparison.site.parcel_id},
        "alternatives": [
            {name: round(value, 6) if isinstance(value, float) else value for name, value in row.items()}
            for row in rows
        ],
        "chosen": choose,
    }


def _page(comparison: Comparison, *, choose: int | None) -> str:
    site, priced = comparison.site, any(one.cost is not None for one in comparison.alternatives)
    title = f"Alternatives for {html_text(site.name)}"
    cautions = " ".join(html_text(caution.order) for caution in CAUTIONS)
    rows = "".join(_table_row(one, comparison=comparison, choose=choose) for one in comparison.alternatives)
    cards = "".join(_card(one, comparison=comparison) for one in comparison.alternatives)
    heads = "".join(f"<th>{name}</th>" for name in _HEADS if name != "Cost" or priced)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" '
        f'content="width=device-width, initial-scale=1"><title>{title}</title><style>'
        f"{_STYLE.read_text(encoding='utf-8')}</style></head><body><h1>{title}</h1>"
        f"<p>Parcel {html_text(site.parcel_id)}. {html_text(_said(priced=priced))}</p>"
        f'<div class="scroll"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>'
        f'<h2>What they look like</h2><div class="cards">{cards}</div>{_key()}'
        f"<p>{cautions}</p></body></html>\n"
    )


_HEADS: Final = (
    "No.", "Layout", "Reach", "Not beaten", "Free ground", "of the lot", "Wire", "Crossings", "Dug by hand",
    "Cut in paving", "Flags", "Must fix", "Cautions", "Cost",
)  # fmt: skip


def _said(*, priced: bool) -> str:
    outlay = "money" if priced else "wire"
    return (
        "Not beaten means: no other line of the table has at least this reach and this free ground, takes no more "
        f"{outlay}, crossings and things to fix, and is better in one of them."
    )


def _table_row(one: Alternative, *, comparison: Comparison, choose: int | None) -> str:
    units = unit_system(comparison.settings.units)
    priced = any(other.cost is not None for other in comparison.alternatives)
    style = "chosen" if one.number == choose else "open" if one.plan is not None and not one.beaten else ""
    first = [str(one.number), html_text(one.settings.layout), units.length(one.settings.reach_m)]
    if one.plan is None:
        cells = "".join(f"<td>{text}</td>" for text in first)
        width = len(_HEADS) - len(first) - (not priced)
        return f'<tr>{cells}<td class="reason" colspan="{width}">No plan. {html_text(one.reason)}</td></tr>'
    fix = f'<span class="fix">{one.must_fix}</span>' if one.must_fix else "0"
    figures = [
        '<span class="mark">\u25cf</span>' if not one.beaten else "",
        units.area(one.free_m2),
        f"{one.free_m2 / comparison.site.parcel.area:.0%}",
        *(units.length(one.wire_m, digits=0), str(one.crossings), units.length(one.hand_dug_m)),
        *(units.length(one.cut_m), str(one.flags), fix, str(one.cautions)),
        *([f"{one.cost:,.0f}" if one.cost is not None else ""] if priced else []),
    ]
    return f'<tr class="{style}">{"".join(f"<td>{text}</td>" for text in [*first, *figures])}</tr>'


def _card(one: Alternative, *, comparison: Comparison) -> str:
    units = unit_system(comparison.settings.units)
    title = f"{one.number}. {one.settings.layout}, {units.length(one.settings.reach_m)}"
    if one.plan is None:
        drawn, words = f'<div class="none">{html_text(one.reason)}</div>', "no plan"
    else:
        frame = shapely.box(*comparison.site.parcel.bounds)
        drawn = picture(one.plan, frame=frame)
        words = f"{units.area(one.free_m2)} free, {units.length(one.wire_m, digits=0)} of wire"
        words += f", {one.must_fix} to fix" if one.must_fix else ""
    return f"<figure>{drawn}<figcaption><b>{html_text(title)}</b>{html_text(words)}</figcaption></figure>"


def _key() -> str:
    return f'<div class="key">{"".join(_key_entries())}</div>'


def _key_entries() -> Iterator[str]:
    for layer, value in (("zones", "roam"), ("zones", "signal"), ("buildings", ""), ("water", ""), ("no_dig", "")):
        style = style_of(layer, value=value)
        look = f"background:{style.fill};opacity:{max(style.fill_opacity, 0.4):g}"
        yield f'<span><i style="{look}"></i>{html_text(style.title)}</span>'
    for part in ("loop", "return_run", "lead_in"):
        style = style_of("wire", value=part)
        line = "solid" if part == "loop" else "dashed" if part == "return_run" else "dotted"
        look = f"height:0;border-top:2px {line} {style.stroke}"
        yield f'<span><i style="{look}"></i>{html_text(style.title)}</span>'
