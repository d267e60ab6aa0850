"""Where a broken wire is broken, for people and for programs: a page with a map, a table, and a summary."""

from __future__ import annotations

import csv
import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence import __version__
from parcelfence.layers import PROGRAM, SUMMARY
from parcelfence.outputs.break_words import CAUTIONS, EFFORT, FAULT_TREE, LIMITS, BreakWords
from parcelfence.outputs.drawing import GROUND, north_arrow, sheet_svg
from parcelfence.outputs.escaping import csv_text, html_text
from parcelfence.outputs.folder import whole_folder
from parcelfence.outputs.paper import Labels, area, fitted_sheet, line, number, text
from parcelfence.outputs.sheet_page import cautions_box, section, sheet_page, stacked_table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from parcelfence.outputs.paper import Sheet
    from parcelfence.service.break_finding import BreakFinding
    from parcelfence.service.written_plan import WrittenPlan

__all__ = ["BreakReport", "write_break"]

PAGE: Final = "break.html"
TABLE: Final = "break.csv"
_MOST_ROWS: Final = 10
_CLASSES: Final = 6
_THINNEST_MM, _THICKEST_MM = 0.4, 3.4
_STRIP_MM: Final = (184.0, 40.0)
_COLUMNS: Final = (
    *("path_m", "loop_id", "part", "conductor", "station_m", "easting_m", "northing_m", "length_m"),
    *("probability", "probability_open", "probability_weak", "named"),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class BreakReport:
    """A finding with the ground on which it is drawn.

    Parameters
    ----------
    finding : BreakFinding
        Where the break is.
    plan : WrittenPlan
        The folder of the wire.
    notes_name : str
        File of the observations.
    """

    finding: BreakFinding
    plan: WrittenPlan
    notes_name: str

    @property
    def words(self) -> BreakWords:
        """Words for the finding."""
        return BreakWords(self.finding)

    def rows(self) -> list[tuple[float, float, float]]:
        """List the named stretches with their probability, the most likely first."""
        found = [(low, high, self.finding.probability_between(low, high)) for low, high in self.finding.stretches]
        return sorted(found, key=lambda row: -row[2])


def write_break(report: BreakReport, directory: Path, *, overwrite: bool = False) -> None:
    """Write page, table and summary into a folder, whole or not at all; raises OutputError."""
    with whole_folder(directory, overwrite=overwrite) as folder:
        (folder / PAGE).write_text(_page(report), encoding="utf-8", errors="replace", newline="\n")
        with (folder / TABLE).open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file)
            rows.writerow(_COLUMNS)
            rows.writerows(_table(report.finding))
        content = json.dumps(break_data(report), ensure_ascii=False, allow_nan=False, indent=1)
        (folder / SUMMARY).write_text(content + "\n", encoding="utf-8", errors="replace", newline="\n")


def break_data(report: BreakReport) -> dict[str, Any]:
    """Give the finding as plain data, in metres along the conductor from terminal A, and in words."""
    finding, words = report.finding, report.words
    return {
        "program": {"name": PROGRAM, "version": __version__},
        "site": report.plan.summary.get("site", {}),
        "observed_in": report.notes_name,
        "answer": words.answer(),
        "agrees": finding.agrees,
        "most_likely": {"path_m": round(finding.best_m, 3), "place": words.place(finding.best_m)},
        "named": {
            "asked": finding.share,
            "probability": round(finding.named_probability, 6),
            "length_m": round(finding.stretch_m, 3),
            "stretches": [
                {
                    "from_path_m": round(low, 3),
                    "to_path_m": round(high, 3),
                    "probability": round(chance, 6),
                    "place": words.stretch(low, high),
                    "because": words.why(low, high),
                }
                for low, high, chance in report.rows()
            ],
        },
        "not_in_the_wire": round(finding.belief.elsewhere, 6),
        "weak_joint": round(finding.belief.weak_share, 6),
        "next": [{"bits": round(one.bits, 4), "do": words.advice(one), **asdict(one.test)} for one in finding.advice],
        "tests_remaining": {**asdict(finding.remaining), "in_words": words.remaining()},
        "observations": [
            {"seen": words.observation(one), "likely": round(one.likely, 6), "doubtful": one.doubtful}
            for one in finding.seen
        ],
        "wire": {
            "conductor_length_m": round(finding.wire.path.length_m, 3),
            "expected_ohm": None if np.isnan(finding.wire.expected_ohms) else round(finding.wire.expected_ohms, 3),
            "receiver_fades_before_break_m": round(finding.wire.fade_m, 1),
        },
        "rates": asdict(finding.rates),
        "limits": list(LIMITS),
        "cautions": [f"{one.order} {one.meaning}" for one in CAUTIONS],
        "files": {PAGE: {"writer": "find-break"}, TABLE: {"writer": "find-break"}, SUMMARY: {"writer": "find-break"}},
    }


def _table(finding: BreakFinding) -> Iterator[tuple[str | float | int, ...]]:
    """Give one row for each cell of the conductor."""
    belief, path = finding.belief, finding.wire.path
    cells = len(belief.middles_m)
    named = belief.in_credible_set(finding.share)
    points = path.points(belief.middles_m)
    for cell, (middle_m, point) in enumerate(zip(belief.middles_m.tolist(), points, strict=True)):
        piece = path.piece_at(middle_m)
        yield (
            f"{middle_m:.3f}",
            csv_text(piece.run.loop_id),
            piece.run.part,
            piece.conductor,
            f"{path.station_m(middle_m):.3f}",
            f"{point.x:.3f}",
            f"{point.y:.3f}",
            f"{belief.edges_m[cell + 1] - belief.edges_m[cell]:.6f}",
            f"{belief.located[cell]:.3e}",
            f"{belief.probability[cell]:.3e}",
            f"{belief.probability[cells + cell]:.3e}",
            int(named[cell]),
        )


def _page(report: BreakReport) -> str:
    site: Mapping[str, Any] = report.plan.summary.get("site", {})
    subtitle = ", parcel ".join(part for part in (str(site.get("name", "")), str(site.get("parcel_id", ""))) if part)
    finding, words = report.finding, report.words
    warning = (
        ""
        if finding.agrees
        else "<p><b class='doubt'>These observations do not all agree with one single fault.</b> One is mistaken, "
        "or the wire is broken twice. Repeat the doubtful one first.</p>"
    )
    answer = (
        f'<section class="box"><h2>Where it is</h2><p class="answer">{html_text(words.answer())}</p>{warning}</section>'
    )
    body = (
        cautions_box(CAUTIONS),
        answer,
        section("What to do next", _advice(report)),
        section("Map", _map(report) + _legend(report)),
        section("Along the wire", _strip(report)),
        section("Where it may be", _stretches(report)),
        section("What was observed", _observed(report)),
        section("If you begin from nothing", _fault_tree()),
        section("What this cannot know", "".join(f"<p>{html_text(one)}</p>" for one in _limits(report))),
    )
    origin = f"From the wire of {report.plan.folder.name} and the observations in {report.notes_name}."
    return sheet_page("Where the wire is broken", subtitle=subtitle, body="".join(body), origin=origin)


def _advice(report: BreakReport) -> str:
    finding, words = report.finding, report.words
    rows = [
        (html_text(words.advice(one)), EFFORT[one.test.kind], f"{one.bits:.2f} bit")
        for one in sorted(finding.advice, key=lambda one: -one.bits)
    ]
    table = stacked_table(("Test, the most telling first", "Effort", "Tells"), rows, figures=(2,)) if rows else ""
    note = "<p class='small'>One bit halves the question. A test that tells 0.1 bit is worth it only if it is easy.</p>"
    return f"<p>{html_text(words.remaining())}</p>{table}{note if rows else ''}"


def _stretches(report: BreakReport) -> str:
    words, rows = report.words, report.rows()
    shown = [
        (
            html_text(words.stretch(low, high)),
            html_text(words.wording.length(high - low)),
            f"{chance:.1%}",
            html_text(words.why(low, high)),
        )
        for low, high, chance in rows[:_MOST_ROWS]
    ]
    table = stacked_table(("Stretch", "Conductor", "Probability", "What is there"), shown, figures=(1, 2))
    rest = rows[_MOST_ROWS:]
    if rest:
        length = words.wording.length(sum(high - low for low, high, _ in rest))
        table += f"<p>And {len(rest)} more with {sum(row[2] for row in rest):.1%} on {length}, in {TABLE}.</p>"
    away = report.finding.belief.elsewhere
    weak = report.finding.belief.weak_share
    return f"{table}<p>Not in the wire at all: {away:.1%}. A weak joint rather than an open break: {weak:.1%}.</p>"


def _observed(report: BreakReport) -> str:
    rows = [
        (
            html_text(report.words.observation(one)),
            f'<span class="doubt">only {one.likely:.0%}</span>' if one.doubtful else f"{one.likely:.0%}",
            html_text(one.observation.note),
        )
        for one in report.finding.seen
    ]
    heads = ("Observation", "Fits with", "Note")
    table = stacked_table(heads, rows, figures=(1,))
    doubtful = any(one.doubtful for one in report.finding.seen)
    table += "<p class='small'>Fits with: the chance of such an outcome, now that all is known.</p>"
    return table + ("<p>What is marked does not agree with the rest: repeat it first.</p>" if doubtful else "")


def _fault_tree() -> str:
    rows = [(f"<b>{html_text(one.order)}</b>", html_text(one.meaning)) for one in FAULT_TREE]
    return stacked_table(("You meet", "Do this"), rows)


def _limits(report: BreakReport) -> Sequence[str]:
    fade = report.words.wording.length(report.finding.wire.fade_m)
    return (
        *LIMITS,
        (
            f"The animal's receiver, held on the ground, falls silent about {fade} before an open break on this wire, "
            "for only the charging current of the wire's capacitance flows there (computed for polyethylene in wet "
            "soil). Seek with a probe that senses voltage, or state senses = current."
        ),
    )


def _map(report: BreakReport) -> str:
    plan = report.plan
    runs = [run.line for run in plan.runs]
    parcel = [shape for shape, _ in plan.features("parcel")]
    bounds = shapely.total_bounds(np.array([*runs, *parcel], dtype=object))
    west, south, east, north = (float(edge) for edge in bounds)
    sheet = fitted_sheet((west, south, east, north), us=plan.settings.units == "us")
    labels = Labels(sheet.width_mm, sheet.height_mm)
    arrow = north_arrow(sheet, labels)
    ground = [
        area(sheet.geometry(shape), fill=fill, stroke=stroke, width_mm=0.2, dashes=dashes)
        for layer, (fill, stroke, dashes) in GROUND.items()
        for shape, _ in _features(plan, layer)
    ]
    ground += [
        area(sheet.geometry(shape), fill="none", stroke="#000", width_mm=0.4, dashes="5 1 1 1") for shape in parcel
    ]
    wire = [line(sheet.geometry(run), stroke="#888", width_mm=0.3) for run in runs]
    return sheet_svg(sheet, [*ground, *wire, *_heat(report, sheet), *_marks(report, sheet, labels=labels), arrow])


def _features(plan: WrittenPlan, layer: str) -> Sequence[tuple[BaseGeometry, Mapping[str, Any]]]:
    """Give the features of a layer, none where the folder holds no such layer: it may be of an older version."""
    return plan.features(layer) if layer in plan.summary.get("layers", {}) else ()


def _heat(report: BreakReport, sheet: Sheet) -> Iterator[str]:
    """Draw the wire the thicker and darker the more likely the break is there, in a few steps."""
    belief, path = report.finding.belief, report.finding.wire.path
    density = belief.density_per_m
    steps = np.ceil(np.log10(np.maximum(density / density.max(), 1e-9)) * 2.0 + _CLASSES).clip(min=0).astype(int)
    starts = np.flatnonzero(np.diff(steps, prepend=-1))
    ends = np.append(starts[1:], len(steps))
    for step in range(1, _CLASSES + 1):
        for start, end in zip(starts, ends, strict=True):
            if steps[start] == step:
                stretch = path.line(float(belief.edges_m[start]), float(belief.edges_m[end]))
                width_mm = _THINNEST_MM + (_THICKEST_MM - _THINNEST_MM) * step / _CLASSES
                yield line(sheet.geometry(stretch), stroke=_shade(step), width_mm=width_mm)


def _shade(step: int) -> str:
    """Give a colour from pale to dark red, which is from pale to dark grey on a printer without colours."""
    pale, dark = (250, 214, 190), (120, 10, 20)
    share = (step - 1) / (_CLASSES - 1)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in zip(pale, dark, strict=True))


def _marks(report: BreakReport, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Write splices, observations and the next test beside their places."""
    finding = report.finding
    path = finding.wire.path
    signs = []
    if finding.advice and finding.advice[0].test.kind != "test_loop":
        test = finding.advice[0].test
        at_m = test.low_m if test.kind == "tone" or test.low_m > 0.0 else test.high_m
        signs.append((path.point(at_m), "NEXT", "#005ea8"))
    for number_, one in enumerate(finding.seen, start=1):
        if one.test is not None and one.test.kind in {"tone", "movement", "exposed"}:
            at_m = one.test.low_m if one.test.kind == "tone" else one.test.places_m[0]
            signs.append((path.point(at_m), str(number_), "#333"))
    signs += [(path.point(places[0]), name, "#777") for name, places in finding.wire.splices.items() if places]
    for point, word, colour in signs:
        x, y = sheet.on_paper(np.array([[point.x, point.y]]))[0].tolist()
        corners = [(x + 4, y - 3), (x - 4, y - 3), (x + 4, y + 3), (x - 4, y + 3), (x + 8, y), (x - 8, y)]
        place = labels.place(word, corners, size_mm=2.8)
        yield f'<circle cx="{number(x)}" cy="{number(y)}" r="1" fill="#fff" stroke="{colour}" stroke-width="0.5"/>'
        if place is not None:
            yield text(place, word, size_mm=2.8, bold=True, halo=True, colour=colour)


def _legend(report: BreakReport) -> str:
    swatches = "".join(
        f'<svg width="7mm" height="3.6mm" viewBox="0 0 7 3.6"><path d="M0 1.8H7" stroke="{_shade(step)}"'
        f' stroke-width="{_THINNEST_MM + (_THICKEST_MM - _THINNEST_MM) * step / _CLASSES:.2f}"/></svg>'
        for step in range(1, _CLASSES + 1)
    )
    numbers = any(one.test is not None and one.test.kind != "resistance" for one in report.finding.seen)
    rows = [f"<li>{swatches} the break is here: less to more likely (each step threefold)</li>"]
    rows.append("<li><b>NEXT</b> most telling test</li><li><b>S1</b> splice</li>")
    rows += ["<li><b>1</b> observation, in the order of the table below</li>"] if numbers else []
    return f'<ul class="legend">{"".join(rows)}</ul>'


def _strip(report: BreakReport) -> str:
    """Draw the probability along the conductor, from terminal A to terminal B."""
    finding = report.finding
    width, height = _STRIP_MM
    path, belief = finding.wire.path, finding.belief
    columns = np.linspace(0.0, path.length_m, 185)
    held = np.concatenate([[0.0], np.cumsum(belief.located)])
    mass = np.diff(np.interp(columns, belief.edges_m, held))
    tops = height - 9.0 - mass / mass.max() * (height - 14.0)
    bars = "".join(
        f'<rect x="{number(place * width / 184)}" y="{number(top)}" width="{number(width / 184)}"'
        f' height="{number(height - 9.0 - top)}" fill="#780a14"/>'
        for place, top in enumerate(tops.tolist())
    )
    marks = ""
    for piece in path.pieces:
        x = piece.start_m / path.length_m * width
        name = f"{piece.run.loop_id}{' ' + piece.conductor if piece.conductor else ''}"
        marks += (
            f'<path d="M{number(x)} 3V{number(height - 7)}" stroke="#999" stroke-width="0.2" stroke-dasharray="1 1"/>'
        )
        if piece.length_m / path.length_m * width > 1.6 * len(name) + 2:
            middle = x + piece.length_m / path.length_m * width / 2
            marks += text((middle, height - 2.5), name, size_mm=2.8)
    return (
        f'<svg class="strip" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 {width:g} {height:g}" role="img"'
        f' aria-label="Probability along the conductor" xmlns="http://www.w3.org/2000/svg">{marks}{bars}'
        f'<path d="M0 {number(height - 9)}H{width:g}" stroke="#111" stroke-width="0.3"/></svg>'
        "<p class='small'>Left: terminal A. Right: terminal B. A lead-in is met twice: outwards in conductor A, "
        "back in conductor B.</p>"
    )
