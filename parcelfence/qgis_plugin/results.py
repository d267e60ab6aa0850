"""What a run has written, in the project: one group, in the order, with the titles and styles of ``plan.qgs``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qgis.core import QgsLayerTreeGroup, QgsLayerTreeLayer, QgsProject

__all__ = ["show_plan"]

PROJECT = "plan.qgs"


def show_plan(folder: str, *, project: Any, title: str) -> str:
    """Put the layers of a plan on top of a project, in one group; gives the name of the group.

    Everything is read off the project file that parcelfence writes beside the GeoPackage, so that groups, order,
    titles, styles and what is switched off are the same however the plan is opened.
    """
    path = Path(folder) / PROJECT
    written = QgsProject()
    if not path.is_file() or not written.read(str(path)):
        return ""
    name = title or written.title() or path.parent.name
    group = project.layerTreeRoot().insertGroup(0, name)
    _copy(written.layerTreeRoot(), group, project=project)
    written.clear()
    return name


def _copy(source: Any, target: Any, *, project: Any) -> None:
    for node in source.children():
        if isinstance(node, QgsLayerTreeGroup):
            inner = target.addGroup(node.name())
            inner.setItemVisibilityChecked(node.itemVisibilityChecked())
            inner.setExpanded(node.isExpanded())
            _copy(node, inner, project=project)
        elif isinstance(node, QgsLayerTreeLayer) and node.layer() is not None:
            layer = node.layer().clone()
            project.addMapLayer(layer, False)
            shown = target.addLayer(layer)
            shown.setItemVisibilityChecked(node.itemVisibilityChecked())
            shown.setExpanded(node.isExpanded())
