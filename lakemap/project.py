"""Lake: what was recorded on one lake, sorted by role, with the settings of all stages."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

from lakemap.changes.settings import ChangesSettings
from lakemap.clean.settings import CleanSettings
from lakemap.echo.settings import EchoSettings
from lakemap.errors import InputError, SettingError, UsageError
from lakemap.grid.settings import GridSettings
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.boat import LogRule
from lakemap.publish.settings import PublishSettings
from lakemap.read.find import LAKE_SETTINGS, LakeFiles, sort_files
from lakemap.read.log_rules import log_rules
from lakemap.read.reader import Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.spots.settings import SpotSettings
from lakemap.terrain.settings import TerrainSettings
from lakemap.water.settings import WaterSettings


@dataclass(frozen=True)
class LakeSettings:
    """Settings of every stage, by the name of its table in a settings file."""

    read: ReadSettings = field(default_factory=ReadSettings)
    clean: CleanSettings = field(default_factory=CleanSettings)
    echo: EchoSettings = field(default_factory=EchoSettings)
    hardness: HardnessSettings = field(default_factory=HardnessSettings)
    grid: GridSettings = field(default_factory=GridSettings)
    changes: ChangesSettings = field(default_factory=ChangesSettings)
    terrain: TerrainSettings = field(default_factory=TerrainSettings)
    water: WaterSettings = field(default_factory=WaterSettings)
    spots: SpotSettings = field(default_factory=SpotSettings)
    publish: PublishSettings = field(default_factory=PublishSettings)
    log: tuple[LogRule, ...] = ()

    @classmethod
    def from_tables(cls, tables: Mapping[str, Any]) -> Self:
        """Build from the tables of a settings file; raises SettingError for an unknown table, name or value."""
        kinds = {spec.name: spec.default_factory for spec in dataclasses.fields(cls) if spec.name != "log"}
        rules = log_rules(tables.get("log", ()))
        tables = {name: table for name, table in tables.items() if name != "log"}
        for name, table in tables.items():
            if name not in kinds or not isinstance(table, Mapping):
                raise SettingError(f"no settings table [{name}]; there are {', '.join(kinds)}")
        made = {name: kinds[name].from_mapping(table) for name, table in tables.items()}  # type: ignore[union-attr]
        return cls(**made, log=rules)

    def floor_in(self, unit: str) -> TerrainSettings:
        """Terrain settings with the contour step that the reader asked for, else a round one in the reader's unit."""
        asked = self.publish.contour_m
        told = {"contour_unit": unit} if asked is None else {"contour_m": asked}
        return dataclasses.replace(self.terrain, **told)  # type: ignore[arg-type]

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """All settings as used, by table, for summary.json; files by their base names."""
        tables = [spec.name for spec in dataclasses.fields(self) if spec.name != "log"]
        told = {name: getattr(self, name).as_dict() for name in tables}
        if self.read.area is not None:
            told["read"]["area"] = Path(self.read.area).name
        rules = {f"rule {rule.number}": dataclasses.asdict(rule) for rule in self.log}
        return told | ({"log": rules} if rules else {})


def read_settings_file(path: Path) -> dict[str, Any]:
    """The tables of a settings file (TOML). Raises InputError with the line where it is no TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(f"{path.name}: cannot be read ({fault}); give a settings file in TOML") from None
    except tomllib.TOMLDecodeError as fault:
        raise InputError(f"{path.name}: no TOML ({fault}); mend that place, see README for an example") from None


def folder_settings(paths: Iterable[str | Path]) -> dict[str, Any]:
    """The tables of lake.toml out of those of ``paths`` that are lake folders; its ``read.area`` lies beside it.

    Raises UsageError where two folders have one each: a map is of one lake.
    """
    found = sorted({Path(path) / LAKE_SETTINGS for path in paths if (Path(path) / LAKE_SETTINGS).is_file()})
    if len(found) > 1:
        raise UsageError(f"{found[0]} and {found[1]} both say what the lake is; give one folder, or --settings FILE")
    tables = read_settings_file(found[0]) if found else {}
    reading = tables.get("read")
    if isinstance(reading, dict) and isinstance(reading.get("area"), str):
        tables["read"] = {**reading, "area": str(found[0].parent / reading["area"])}
    return tables


def laid_over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Tables of settings where those ``above`` count first, setting by setting; lists such as [[log]] as a whole."""
    out = dict(below)
    for name, table in above.items():
        under = out.get(name, {})
        out[name] = {**under, **table} if isinstance(table, Mapping) and isinstance(under, Mapping) else table
    return out


def with_settings(tables: Mapping[str, Any], assignments: Iterable[str]) -> dict[str, Any]:
    """The tables with ``clean.draft_m=0.4`` and the like laid over them; a value is TOML, or else plain words."""
    out: dict[str, Any] = {name: dict(table) if isinstance(table, Mapping) else table for name, table in tables.items()}
    for text in assignments:
        key, sign, value = text.partition("=")
        path = key.strip().split(".")
        if not sign or len(path) < 2 or not all(path):
            raise SettingError(f"--set {text}: write it as table.name=value, such as clean.draft_m=0.4")
        table = out
        for step in path[:-1]:
            table = table.setdefault(step, {})
            if not isinstance(table, dict):
                raise SettingError(f"--set {text}: {step} is a value, not a table; see README for the names")
        table[path[-1]] = _toml_value(value.strip())
    return out


def _toml_value(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


@dataclass(frozen=True)
class Lake:
    """Everything recorded on one lake, by role, and how to work on it."""

    name: str
    files: LakeFiles
    settings: LakeSettings = field(default_factory=LakeSettings)

    @classmethod
    def from_files(
        cls,
        paths: Sequence[str | Path],
        settings: LakeSettings | Mapping[str, Any] | None = None,
        *,
        logs: Sequence[str | Path] = (),
        marks: Sequence[str | Path] = (),
        shore: Sequence[str | Path] = (),
        roles: Mapping[Role, Sequence[str | Path]] | None = None,
        name: str = "",
    ) -> Self:
        """Sort files and folders by content; those under ``logs``, ``marks``, ``shore`` or a role by the caller's word.

        ``roles`` has files by role (``{"levels": ["gauge.csv"]}``); a file under two roles is taken for both.
        ``settings`` is a LakeSettings, or tables as in a settings file, which count before those of a lake folder's
        lake.toml.
        Raises UnknownFormat, AmbiguousFile, SettingError.
        """
        forced: dict[Path, list[Role]] = {}
        own: dict[Role, Sequence[str | Path]] = {"log": logs, "marks": marks, "shore": shore}
        for role, group in (*own.items(), *(roles or {}).items()):
            for path in group:
                forced.setdefault(Path(path), []).append(role)
        if not isinstance(settings, LakeSettings):
            tables = laid_over(folder_settings(paths), settings or {})
            name = str(tables.pop("name", "")) or name
            settings = LakeSettings.from_tables(tables)
        return cls(name or "Lake", sort_files([*map(Path, paths), *forced], forced), settings)

    def of(self, role: Role) -> tuple[Source, ...]:
        """The files of a role, in the order of names."""
        return self.files.of(role)

    @property
    def logs(self) -> tuple[Source, ...]:
        """Files of soundings."""
        return self.of("log")

    @property
    def marks(self) -> tuple[Source, ...]:
        """Files of marks."""
        return self.of("marks")

    @property
    def shore(self) -> tuple[Source, ...]:
        """Files of shoreline polygons."""
        return self.of("shore")

    @property
    def area(self) -> Source | None:
        """The file of polygons that the map is to be kept to."""
        return None if self.settings.read.area is None else Source.of(Path(self.settings.read.area))

    @property
    def messages(self) -> tuple[str, ...]:
        """What there is to say about files that are not read."""
        return self.files.messages

    @property
    def inputs(self) -> dict[str, str]:
        """Each file's name and SHA-256, in the order of names."""
        sources = [source for group in self.files.roles.values() for source in group]
        sources += [self.area] if self.area else []
        return {source.name: source.sha256 for source in sorted(sources, key=_by_name)}


def _by_name(source: Source) -> tuple[str, str]:
    return source.name, source.sha256
