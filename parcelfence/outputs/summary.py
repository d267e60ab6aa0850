"""The summary: figures, settings and provenance, so that a stranger can check the plan from the folder alone.

Neither a clock nor a path of this machine enters it.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import fields, is_dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence import __version__
from parcelfence.conflict import count_severities
from parcelfence.layers import PROGRAM, SUMMARY
from parcelfence.outputs.cautions import CAUTIONS
from parcelfence.outputs.delivery import public_code
from parcelfence.outputs.figures import figures, remarks
from parcelfence.outputs.stakeout import ORDER
from parcelfence.outputs.survey import COLUMNS, survey_figures
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pyproj import CRS

    from parcelfence.conflict import Conflict
    from parcelfence.errors import Fault
    from parcelfence.field.profile import ReachProfile
    from parcelfence.finished_plan import Plan, PlanOfAnimal
    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.figures import Figures
    from parcelfence.site.provenance import DatumOperation, InputRecord

__all__ = ["plain_data", "summary", "write"]

_DIGITS: Final = 10
_WGS84_WRITERS: Final = frozenset({"geojson", "gpx", "kml", "map"})
_PLANE_WRITERS: Final = frozenset({"dxf", "stakeout", "survey"})
_LAYER_WRITERS: Final = frozenset({"gpkg", "parquet"})


def write(delivery: Delivery, folder: Path, *, files: Mapping[str, str]) -> None:
    """Write ``summary.json``, which lists the other files with the writer of each."""
    content = summary(delivery, files=files)
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1)
    (folder / SUMMARY).write_text(text + "\n", encoding="utf-8", errors="replace", newline="\n")


def summary(delivery: Delivery, *, files: Mapping[str, str]) -> dict[str, Any]:
    """Make the summary of a delivered plan.

    Parameters
    ----------
    delivery : Delivery
        The plan and the systems in which it is handed out.
    files : mapping of str to str
        Name of the writer by path within the folder.

    Returns
    -------
    dict
        Ready for :func:`json.dumps`; what is missing is null.
    """
    plan = delivery.plan
    found = figures(plan)
    return {
        "program": {"name": PROGRAM, "version": __version__},
        "site": {"name": plan.site.name, "parcel_id": plan.site.parcel_id},
        "figures": _figures(plan, found),
        "materials": [plain_data(material) for material in plan.take_off.materials],
        "receiver": plain_data(plan.zones.receiver),
        "reach": [_reach(plan, profile) for profile in plan.profiles],
        "survey": plain_data(survey_figures(delivery)),
        "circuit": _circuit(plan),
        "conflicts": _conflicts(plan.conflicts),
        **({"animals": [_animal(one) for one in plan.animals]} if plan.animals else {}),
        **({} if plan.as_built is None else {"as_built": plain_data(plan.as_built)}),
        "remarks": list(remarks(plan, found, units=unit_system(plan.settings.units))),
        "cautions": [f"{caution.order} {caution.meaning}" for caution in CAUTIONS],
        "settings": plain_data(plan.settings.model_dump()),
        "crs": _systems(delivery),
        "provenance": _provenance(plan),
        "layers": {name: len(delivery.tables[name]) for name in delivery.layer_names},
        "files": {name: _file(writer, delivery) for name, writer in sorted(files.items())},
    }


def _figures(plan: Plan, found: Figures) -> dict[str, Any]:
    shares = {
        name: plain_data(getattr(found, name))
        for name in ("free_share_of_enclosed", "buffer_share_of_enclosed", "enclosed_share_of_allowed")
    }
    take_off = plan.take_off
    return {
        **plain_data(found),
        **shares,
        "trench_m_by_surface": plain_data(dict(take_off.trench_m_by_surface)),
        "labour_hours": plain_data(take_off.hours),
        "cost": plain_data(take_off.cost),
    }


def _animal(one: PlanOfAnimal) -> dict[str, Any]:
    """Sum up what one of several animals meets."""
    return {
        "name": one.animal.name,
        "reach_m": plain_data(one.zones.receiver.reach_m),
        "receiver_height_m": plain_data(one.settings.receiver_height_m),
        "free_area_m2": plain_data(one.zones.free_ground.area),
        "signal_area_m2": plain_data(one.zones.signal.area),
        "core_area_m2": plain_data(one.zones.core.area),
    }


def _reach(plan: Plan, profile: ReachProfile) -> dict[str, Any]:
    """Sum up the reach along one loop; null where all ground to the next wire reacts, or nothing does."""
    sides = {"inside": profile.reach_inside_m, "outside": profile.reach_outside_m}
    known = {side: reach[np.isfinite(reach)] for side, reach in sides.items()}
    return {
        "loop_id": plan.loop.signal_runs[profile.loop].loop_id,
        **{
            f"{name}_{side}_m": plain_data(measure(reach)) if reach.size else None
            for side, reach in known.items()
            for name, measure in (("least", np.min), ("median", np.median), ("greatest", np.max))
        },
    }


def _circuit(plan: Plan) -> dict[str, Any]:
    circuit = plan.circuit
    return {
        **plain_data(circuit),
        "reactance_ohm": plain_data(circuit.reactance_ohm),
        "impedance_ohm": plain_data(circuit.impedance_ohm),
        "flux_density_at_reach_t_per_volt": plain_data(circuit.flux_density_t_per_volt(plan.zones.receiver.slant_m)),
        "ground_matters": circuit.ground_matters,
        "ground_share": plain_data(circuit.ground_share),
        "current_change_share": plain_data(circuit.current_change_share),
    }


def _conflicts(conflicts: Iterable[Conflict]) -> dict[str, Any]:
    rows = list(conflicts)
    rules: dict[str, Counter[str]] = {}
    for row in rows:
        rules.setdefault(row.rule, Counter())[str(row.severity)] += 1
    return {
        "count": len(rows),
        "by_severity": count_severities(rows),
        "by_rule": {rule: dict(sorted(count.items())) for rule, count in sorted(rules.items())},
    }


def _systems(delivery: Delivery) -> dict[str, Any]:
    frame = delivery.plan.site.frame
    to_wgs84 = frame.to_wgs84().operation
    return {
        "working": {**_system(frame.crs), "scale_at_centre": plain_data(frame.scale)},
        "layers": _system(delivery.crs),
        "to_layers": None if delivery.operation is None else _operation(delivery.operation),
        "to_wgs84": _operation(to_wgs84),
    }


def _system(crs: CRS) -> dict[str, Any]:
    """Name a CRS by its code, which is the same everywhere, or write it out: versions of PROJ word a known one anew."""
    known = public_code(crs)
    code = ":".join(known) if known else None
    return {"name": crs.name, "unit": crs.axis_info[0].unit_name, "code": code, "wkt": None if code else crs.to_wkt()}


def _provenance(plan: Plan) -> dict[str, Any]:
    provenance = plan.site.provenance
    return {
        "inputs": [_input(record) for record in provenance.inputs],
        "remarks": list(provenance.remarks),
    }


def _input(record: InputRecord) -> dict[str, Any]:
    return {
        "role": record.role,
        "name": PurePath(record.name).name,
        "sha256": record.sha256,
        "crs": record.crs,
        "crs_origin": record.crs_origin,
        "features": record.features,
        "used": record.used,
        "accuracy_m": plain_data(record.accuracy_m),
        "operation": _operation(record.operation),
        "repairs": [_fault(repair) for repair in record.repairs],
    }


def _operation(operation: DatumOperation) -> dict[str, Any]:
    return {**plain_data(operation), "accuracy_is_stated": operation.accuracy_m is not None}


def _fault(fault: Fault) -> dict[str, Any]:
    return {**plain_data(fault), "where": PurePath(fault.where).name}


def _file(writer: str, delivery: Delivery) -> dict[str, Any]:
    entry: dict[str, Any] = {"writer": writer}
    if writer in _WGS84_WRITERS:
        entry |= {"crs": "WGS 84", "unit": "degree"}
    elif writer in _PLANE_WRITERS:
        entry |= {"crs": delivery.plane_crs.name, "unit": delivery.plane_crs.axis_info[0].unit_name}
    elif writer in _LAYER_WRITERS:
        entry |= {"crs": delivery.crs.name, "unit": delivery.crs.axis_info[0].unit_name}
    if writer == "stakeout":
        entry |= {"columns": list(ORDER), "header": False, "elevation": "left empty: the plan knows none"}
    if writer == "survey":
        entry |= {"columns": list(COLUMNS), "header": True}
    return entry


def plain_data(value: Any) -> Any:
    """Turn results into plain data: floats to ten digits, what is not finite to null, geometry left out."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float | np.floating):
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    if is_dataclass(value) and not isinstance(value, type):
        shown = ((field.name, getattr(value, field.name)) for field in fields(value))
        return {name: plain_data(part) for name, part in shown if not _is_geometry(part)}
    if isinstance(value, dict):
        return {str(name): plain_data(part) for name, part in value.items() if not _is_geometry(part)}
    return [plain_data(part) for part in value]


def _is_geometry(value: Any) -> bool:
    return isinstance(value, shapely.Geometry | np.ndarray)
