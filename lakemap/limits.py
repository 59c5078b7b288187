"""Settings that check themselves: each field states its range and the reason, and error texts are made from them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from lakemap.errors import SettingError


@dataclass(frozen=True)
class Limit:
    """What a value must be, in words and as a test, and why."""

    rule: str
    holds: Callable[[Any], bool]
    why: str


def _limited(default: Any, rule: str, holds: Callable[[Any], bool], why: str) -> Any:
    return field(default=default, metadata={"limit": Limit(rule, holds, why)})


def above(low: float, *, default: float | None, why: str) -> Any:
    """A number greater than ``low``; None is allowed where the default is None."""
    return _limited(default, f"above {low:g}", lambda v: v > low, why)


def at_least(low: float, *, default: float | None, why: str) -> Any:
    """A number of ``low`` or more; None is allowed where the default is None."""
    return _limited(default, f"{low:g} or more", lambda v: v >= low, why)


def between(low: float, high: float, *, default: float | None, why: str) -> Any:
    """A number from ``low`` to ``high``, both included; None is allowed where the default is None."""
    return _limited(default, f"from {low:g} to {high:g}", lambda v: low <= v <= high, why)


def one_of(*words: str, default: str | None, why: str) -> Any:
    """One of the given words; None is allowed where the default is None."""
    return _limited(default, "one of " + ", ".join(words), lambda v: v in words, why)


@dataclass(frozen=True)
class Settings:
    """Base of every stage's settings: fields are checked when built."""

    def __post_init__(self) -> None:
        for spec in dataclasses.fields(self):
            _check(type(self).section(), spec, getattr(self, spec.name))

    @classmethod
    def section(cls) -> str:
        """The table's name in lake.toml: ``CleanSettings`` is ``clean``."""
        return cls.__name__.removesuffix("Settings").lower()

    @classmethod
    def from_mapping(cls, given: Mapping[str, Any]) -> Self:
        """Build from a table of lake.toml; an unknown name is refused with the known ones beside it."""
        known = [spec.name for spec in dataclasses.fields(cls)]
        for name in given:
            if name not in known:
                raise SettingError(f"[{cls.section()}] has no setting {name!r}; it has {', '.join(known)}")
        return cls(**given)

    def as_dict(self) -> dict[str, Any]:
        """All fields by name, for summary.json."""
        return dataclasses.asdict(self)


def _check(section: str, spec: dataclasses.Field[Any], value: Any) -> None:
    limit: Limit | None = spec.metadata.get("limit")
    if limit is None or (value is None and spec.default is None):
        return
    numeric = isinstance(spec.default, int | float) or (spec.default is None and "one of" not in limit.rule)
    right_kind = isinstance(value, int | float) and not isinstance(value, bool) if numeric else isinstance(value, str)
    if not right_kind or not limit.holds(value):
        raise SettingError(
            f"[{section}] {spec.name} = {value!r}: must be {limit.rule} ({limit.why}); leave it out for {spec.default}"
        )
