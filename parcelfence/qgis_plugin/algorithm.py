"""What all algorithms share: layers become files, parcelfence is called, its progress and refusals are handed on."""

from __future__ import annotations

import json
from contextlib import contextmanager
from itertools import starmap
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from processing.core.ProcessingConfig import ProcessingConfig
from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
)

from . import schema
from .forms import MORE_MARKS, PROPERTY, given_settings
from .layer_files import LayerFile, write_layer
from .program import Program, ProgramError
from .results import show_plan

if TYPE_CHECKING:
    from collections.abc import Generator

__all__ = ["LOAD", "NAME", "OUTPUT", "PROGRAM_SETTING", "Algorithm", "Run", "folder_parameters"]

PROGRAM_SETTING = "PARCELFENCE_PROGRAM"
LOAD, OVERWRITE, NAME, OUTPUT = "LOAD", "OVERWRITE", "NAME", "OUTPUT"
_SAFETY = (
    "Before any digging call the utility locating service, and dig by hand within the tolerance zones. Local codes and "
    "licensed electricians have the last word; an animal's receiver is fitted and supervised by a person."
)

_FIELDS = {
    "--select": "Here: select the parcel in its layer, or fill in the field Property.",
    "-crs": "Here: set the coordinate system of the layer, under Layer > Set CRS of Layer.",
    "--overwrite": "Here: the box under the folder.",
}
"""Where a form has what a message names as an option."""


class Algorithm(QgsProcessingAlgorithm):
    """An algorithm that is a command of parcelfence.

    ``COMMAND`` is its name, ``TITLE`` what a person reads, ``ABOUT`` its help.
    """

    COMMAND = TITLE = ABOUT = ""

    def __init__(self) -> None:
        super().__init__()
        self.chosen_ids: frozenset[int] = frozenset()
        self.folder = ""
        self.shown = ""

    def name(self) -> str:
        """Give the command."""
        return self.COMMAND

    def displayName(self) -> str:
        """Give the title."""
        return self.TITLE

    def shortHelpString(self) -> str:
        """Give the help, with the cautions."""
        return f"{self.ABOUT}\n\n{_SAFETY}"

    def createInstance(self) -> Any:
        """Make another one of these."""
        return type(self)()

    def tags(self) -> list[str]:
        """Give words by which it is found."""
        return ["parcelfence", "boundary wire", "parcel", "utility", "pet"]

    def prepareAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> bool:
        """Look, while still in the thread of the layers, which parcels are selected."""
        if self.parameterDefinition("PARCELS") is not None:
            layer = self.parameterAsVectorLayer(parameters, "PARCELS", context)
            self.chosen_ids = frozenset(layer.selectedFeatureIds()) if layer is not None else frozenset()
        return True

    def postProcessAlgorithm(self, context: Any, feedback: Any) -> dict[str, Any]:
        """Show what was written, in the thread in which layers live."""
        if self.shown and context.project() is not None:
            self.show(context.project())
        return {}

    def show(self, project: Any) -> None:
        """Show the plan in ``folder`` under the name ``shown``."""
        show_plan(self.folder, project=project, title=self.shown)

    def add(self, *definitions: Any) -> None:
        """Add parameters and outputs."""
        for definition in definitions:
            if hasattr(definition, "defaultValue"):
                self.addParameter(definition)
            else:
                self.addOutput(definition)


class Run:
    """One run of an algorithm: its parameters, and a folder of its own for what it hands to parcelfence."""

    def __init__(self, algorithm: Algorithm, parameters: Any, context: Any, feedback: Any, *, folder: Path) -> None:
        self.algorithm = algorithm
        self.parameters = parameters
        self.context = context
        self.feedback = feedback
        self.folder = folder
        self.files: list[LayerFile] = []

    @classmethod
    @contextmanager
    def of(cls, algorithm: Algorithm, parameters: Any, context: Any, feedback: Any) -> Generator[Run, None, None]:
        """Begin a run; its folder goes when it ends."""
        with TemporaryDirectory(prefix="parcelfence-qgis-") as folder:
            yield cls(algorithm, parameters, context, feedback, folder=Path(folder))

    def text(self, name: str) -> str:
        """Give a parameter as text; empty where it was not given."""
        if self.parameters.get(name) is None and not self._default(name):
            return ""
        if isinstance(self.algorithm.parameterDefinition(name), QgsProcessingParameterEnum):
            return str(self.algorithm.parameterAsEnumString(self.parameters, name, self.context) or "")
        return str(self.algorithm.parameterAsString(self.parameters, name, self.context) or "")

    def _default(self, name: str) -> Any:
        return self.algorithm.parameterDefinition(name).defaultValue()

    def flag(self, name: str) -> bool:
        """Give a parameter as yes or no."""
        return bool(self.algorithm.parameterAsBoolean(self.parameters, name, self.context))

    def source(self, name: str) -> LayerFile | None:
        """Write the layer of a parameter; None where none was given."""
        source = self.algorithm.parameterAsSource(self.parameters, name, self.context)
        if source is None:
            if self.parameters.get(name) in {None, ""}:
                return None
            raise QgsProcessingException(self.algorithm.invalidSourceError(self.parameters, name))
        chosen = self.algorithm.chosen_ids if name == "PARCELS" else frozenset()
        return self._written(source, title=source.sourceName(), chosen_ids=chosen)

    def required_source(self, name: str) -> LayerFile:
        """Write the layer of a parameter that must be given."""
        file = self.source(name)
        if file is None:
            raise QgsProcessingException(self.algorithm.invalidSourceError(self.parameters, name))
        return file

    def layers(self, name: str) -> list[LayerFile]:
        """Write the layers of a parameter that takes several, whole."""
        given = self.algorithm.parameterAsLayerList(self.parameters, name, self.context) or []
        return [self._written(layer, title=layer.name()) for layer in given]

    def _written(self, source: Any, *, title: str, chosen_ids: frozenset[int] = frozenset()) -> LayerFile:
        own = self.folder / "layers" / str(len(self.files) + 1)
        transform = self.context.transformContext()
        file = write_layer(source, own, transform_context=transform, title=title, chosen_ids=chosen_ids)
        self.files.append(file)
        if file.without_geometry:
            self.feedback.pushWarning(f"{title}: {file.without_geometry} features have no geometry and were left out")
        return file

    def roles(self) -> dict[str, list[LayerFile]]:
        """Write the layers of all roles."""
        found: dict[str, list[LayerFile]] = {}
        for role in schema.roles():
            file = self.source(role.name.upper())
            if file is not None:
                found[role.name] = [file]
        if more := self.layers(MORE_MARKS):
            found["marks"] = [*found.get("marks", []), *more]
        return found

    def settings(self) -> dict[str, Any]:
        """Give the settings that are not left at their defaults."""
        return given_settings(self.text, self.flag)

    def settings_words(self) -> list[str]:
        """Write the settings into a file of their own, and give the words that hand it to parcelfence."""
        path = self.folder / "settings.json"
        path.write_text(json.dumps(self.settings(), ensure_ascii=False), encoding="utf-8")
        return ["--settings", str(path)]

    def overwrites(self) -> bool:
        """Whether an earlier result may be replaced."""
        return self.flag(OVERWRITE)

    def project_file(self) -> Path:
        """Write the layers, and the project file that names them."""
        roles = self.roles()
        if "parcels" not in roles:
            raise QgsProcessingException("Neither a project file nor a layer of parcels was given.")
        parcels = roles["parcels"][0]
        site: dict[str, Any] = {"name": self.text(NAME).strip() or parcels.title}
        stated = self.text(PROPERTY).strip()
        if chosen := [stated] if stated else list(parcels.chosen):
            site["select"] = chosen
        layers = {role: [str(file.path) for file in files] for role, files in roles.items()}
        path = self.folder / "SITE.toml"
        settings = self.settings()
        animals = settings.pop("animals", [])
        written = [_toml("site", site), _toml("layers", layers), _toml("settings", settings)]
        written += [_toml("[animal]", animal) for animal in animals]
        path.write_text("\n".join(written), encoding="utf-8")
        return path

    def call(self, *words: str) -> dict[str, Any]:
        """Call parcelfence; gives its result, or an empty one where the run was stopped.

        Raises
        ------
        QgsProcessingException
            With parcelfence's own message, where it refuses.
        """
        feedback = self.feedback
        try:
            program = Program.find(str(ProcessingConfig.getSetting(PROGRAM_SETTING) or ""))
            self._compare_versions(program)
            feedback.pushCommandInfo(" ".join([*program.words, *words]))
            answer = program.run(
                [*words, "--json", "--progress", "json"],
                told=self._show_step,
                said=feedback.pushInfo,
                stopped=feedback.isCanceled,
            )
        except ProgramError as error:
            raise QgsProcessingException(str(error)) from error
        if answer.stopped:
            feedback.pushWarning("Stopped. What stood on disk was not changed.")
            return {}
        if not answer.done and not answer.result.get("layers"):
            message = self.in_words_of_the_user(answer.refusal)
            hints = [here for option, here in _FIELDS.items() if option in message]
            raise QgsProcessingException("\n".join([message, *hints]))
        return answer.result

    def in_words_of_the_user(self, text: str) -> str:
        """Name the layers where a message names the files that were made of them."""
        for file in self.files:
            text = text.replace(str(file.path), file.title).replace(file.path.name, file.title)
        return text

    def output_folder(self, name: str) -> tuple[str, list[str]]:
        """Give the folder of a result, and the words that hand it to parcelfence; an empty one may be filled."""
        folder = Path(self.algorithm.parameterAsString(self.parameters, name, self.context))
        folder.parent.mkdir(parents=True, exist_ok=True)
        empty = folder.is_dir() and not any(folder.iterdir())
        words = ["--out", str(folder)]
        return str(folder), [*words, "--overwrite"] if empty or self.overwrites() else words

    def _compare_versions(self, program: Program) -> None:
        found = program.version()
        if found and found != schema.version():
            self.feedback.pushWarning(
                f"{program.words[0]} is version {found}, this plug-in was packed by {schema.version()}: "
                "pack it again with: parcelfence qgis-plugin"
            )

    def _show_step(self, step: dict[str, Any]) -> None:
        number, total = float(step.get("number", 0)), float(step.get("of", 0)) or 1.0
        self.feedback.setProgress(100.0 * max(number - 0.5, 0.0) / total)
        self.feedback.setProgressText(str(step.get("step", "")))


def folder_parameters() -> tuple[Any, ...]:
    """Make what every algorithm that writes a folder has."""
    return (
        QgsProcessingParameterBoolean(OVERWRITE, "Replace an earlier result in that folder", defaultValue=False),
        QgsProcessingParameterBoolean(LOAD, "Add the result to the project", defaultValue=True),
    )


def _toml(name: str, values: dict[str, Any]) -> str:
    """Write a table; strings of JSON are strings of TOML, too."""
    lines = [f"[{name}]"]
    tables = {}
    for key, value in values.items():
        if isinstance(value, dict):
            tables[f"{name}.{key}"] = value
        else:
            lines.append(f"{key} = {json.dumps(value, ensure_ascii=False)}")
    return "\n".join([*lines, *starmap(_toml, tables.items())]) + "\n"
