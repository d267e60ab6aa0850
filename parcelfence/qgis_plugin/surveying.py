"""Algorithms about layers as they are: inspect, calibrate and screen."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterString,
)

from . import schema
from .algorithm import LOAD, OUTPUT, Algorithm, Run, folder_parameters
from .forms import property_parameters, setting_parameters
from .results import show_table

__all__ = ["CalibrateReach", "InspectLayers", "ScreenParcels"]

_WALK, _PLAN, _WIRE, _ACCURACY = "WALK", "PLAN", "WIRE", "ACCURACY"


class InspectLayers(Algorithm):
    """Say what layers hold."""

    COMMAND = "inspect"
    TITLE = "Inspect layers"
    ABOUT = (
        "Says what layers hold: the role that they would play, features, coordinate system, attributes, kinds of "
        "utility, what would be mended and what cannot be used."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        names = [role.name for role in schema.roles()]
        self.add(
            QgsProcessingParameterMultipleLayers("LAYERS", "Layers", QgsProcessing.TypeVectorAnyGeometry),
            QgsProcessingParameterEnum(
                "ROLE", "Role of all of them; guessed where left out", names, optional=True, usesStaticStrings=True
            ),
            QgsProcessingParameterFileDestination(OUTPUT, "Report", "HTML files (*.html)"),
            QgsProcessingOutputNumber("UNUSABLE", "Layers that cannot be used"),
        )

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Inspect."""
        with Run.of(self, parameters, context, feedback) as run:
            files = run.layers("LAYERS")
            role = run.text("ROLE")
            words = [*(["--role", role] if role else []), *(str(file.path) for file in files)]
            reports = run.call("inspect", *words).get("layers", [])
        titles = {str(file.path): file.title for file in files}
        for report in reports:
            report["file"] = titles.get(report["file"], report["file"])
            for fault in report["faults"]:
                feedback.reportError(f"{report['file']}: {fault}")
        if not reports:
            return {}
        path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        path.write_text(_inspection_page(reports), encoding="utf-8")
        return {OUTPUT: str(path), "UNUSABLE": sum(bool(report["faults"]) for report in reports)}


class CalibrateReach(Algorithm):
    """Fit the reach."""

    COMMAND = "calibrate"
    TITLE = "Calibrate the reach"
    ABOUT = (
        "Fits the reach to points where a person who walked up to the wire first heard it with the receiver, says "
        "which points do not fit, and weighs causes where the signal reaches less far than computed."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        self.add(
            QgsProcessingParameterFeatureSource(_WALK, "Walked points", [QgsProcessing.TypeVectorPoint]),
            QgsProcessingParameterFile(_PLAN, "Folder of the plan", behavior=QgsProcessingParameterFile.Folder),
            QgsProcessingParameterFeatureSource(
                _WIRE, "Wire as laid, instead of the planned one", [QgsProcessing.TypeVectorLine], optional=True
            ),
            QgsProcessingParameterString(_ACCURACY, "Accuracy of a walked point", "0.15 m"),
            QgsProcessingOutputNumber("REACH_M", "Reach that fits best, in metres"),
            QgsProcessingOutputNumber("UNCERTAINTY_M", "Its uncertainty, in metres"),
            QgsProcessingOutputNumber("OUTLIERS", "Points that do not fit"),
            QgsProcessingOutputString("VERDICT", "What it means"),
        )

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Calibrate."""
        with Run.of(self, parameters, context, feedback) as run:
            walk, wire = run.required_source(_WALK), run.source(_WIRE)
            words = ["--plan", run.text(_PLAN), "--accuracy", run.text(_ACCURACY)]
            found = run.call("calibrate", str(walk.path), *words, *(["--wire", str(wire.path)] if wire else []))
        if not found:
            return {}
        feedback.pushInfo(f"{found['points']} points: reach {found['reach_m']} m, within {found['uncertainty_m']} m")
        for point in found["outliers"]:
            feedback.pushWarning(f"point {point['point']} does not fit: {point['reason']}")
        for text in [*found["remarks"], *found["cautions"]]:
            feedback.pushInfo(text)
        return {
            "REACH_M": found["reach_m"],
            "UNCERTAINTY_M": found["uncertainty_m"],
            "OUTLIERS": len(found["outliers"]),
            "VERDICT": found["verdict"],
        }


class ScreenParcels(Algorithm):
    """Plan every parcel."""

    COMMAND = "screen"
    TITLE = "Screen parcels"
    ABOUT = (
        "Plans a loop on every parcel of a layer and gives one row each: a loop with its figures, or the reason why "
        "there is none. A run that was stopped goes on where it was, if it writes into the same file."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        self.add(
            *property_parameters(several=True),
            QgsProcessingParameterString("KEEP", "Columns of the parcels to keep, the key first", optional=True),
            *setting_parameters(),
            QgsProcessingParameterFileDestination(OUTPUT, "Table", "GeoPackage (*.gpkg);;FlatGeobuf (*.fgb)"),
            *folder_parameters(),
            QgsProcessingOutputNumber("PARCELS_SCREENED", "Parcels"),
            QgsProcessingOutputNumber("PLANNED", "Parcels with a plan"),
        )

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Screen."""
        with Run.of(self, parameters, context, feedback) as run:
            path = self.parameterAsFileOutput(parameters, OUTPUT, context)
            roles = run.roles()
            parcels = str(roles.pop("parcels")[0].path)
            words = [f"--{role.replace('_', '-')}={file.path}" for role, files in roles.items() for file in files]
            if run.text("KEEP").strip():
                words += ["--keep", run.text("KEEP")]
            if run.overwrites():
                words.append("--overwrite")
            result = run.call("screen", parcels, "--out", path, *words, *run.settings_words())
            if not result:
                return {}
            self.shown = Path(path).stem if run.flag(LOAD) else ""
        self.folder = path
        return {OUTPUT: path, "PARCELS_SCREENED": result["parcels"], "PLANNED": result["planned"]}

    def show(self, project: Any) -> None:
        """Show the rows."""
        show_table(self.folder, project=project, title=self.shown)


def _inspection_page(reports: list[dict[str, Any]]) -> str:
    rows = "".join(
        f"<h2>{html.escape(report['file'])}</h2><table>{_inspection_rows(report)}</table>" for report in reports
    )
    style = (
        "body{font:14px/1.45 sans-serif;max-width:60em;margin:1em auto;padding:0 1em}"
        "th{text-align:left;vertical-align:top;padding:.15em 1.2em .15em 0;white-space:nowrap}"
        ".fault{color:#a3260b;font-weight:bold}"
    )
    head = f'<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Layers</title><style>{style}</style>'
    return f"{head}{rows}</html>\n"


def _inspection_rows(report: dict[str, Any]) -> str:
    rows = [("Cannot be used", fault, "fault") for fault in report["faults"]]
    if report["role"]:
        rows.append(("Role", f"{report['role']} ({report['role_reason']})", ""))
    rows.extend((
        ("Features", f"{report['features']:,}, {report['usable']:,} of them usable", ""),
        ("Coordinate system", report["crs"] or "none is stated", ""),
    ))
    rows += [("Kinds", f"{name}: {count:,}, from {words}", "") for name, (count, words) in report["kinds"].items()]
    rows += [("Mended", repair, "") for repair in report["repairs"]]
    rows += [("Field", f"{name}: {values}", "") for name, values in report["fields"].items()]
    return "".join(
        f'<tr class="{kind}"><th>{html.escape(title)}</th><td>{html.escape(str(text))}</td></tr>'
        for title, text, kind in rows
    )
