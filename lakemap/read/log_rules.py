"""``[[log]]`` tables of lake.toml: which depths of a log to take, and which sounder made them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from lakemap.errors import InputError, SettingError
from lakemap.model.boat import LogRule
from lakemap.model.soundings import Soundings
from lakemap.read.settings import ReadSettings

KEYS = ("match", "talker", "sentence", "sounder")


def log_rules(tables: Any) -> tuple[LogRule, ...]:
    """The rules in the order of the file. Raises SettingError, one line, for what is no such table."""
    if not isinstance(tables, Sequence) or isinstance(tables, str):
        raise SettingError("[log] must be written [[log]], one for each rule; see README for an example")
    return tuple(_rule(number, table) for number, table in enumerate(tables, 1))


def _rule(number: int, table: Any) -> LogRule:
    title = f"[[log]] {number}"
    if not isinstance(table, Mapping):
        raise SettingError(f"{title}: must be a table with {', '.join(KEYS)}")
    for key, value in table.items():
        if key not in KEYS:
            raise SettingError(f"{title} has an unknown key {key!r}; it may have {', '.join(KEYS)}")
        if not isinstance(value, str) or not value:
            raise SettingError(f"{title}, {key} = {value!r}: must be text")
    if "match" not in table:
        raise SettingError(f"{title}: needs match, the name of a log (* and ? stand for anything)")
    wish = ReadSettings(talker=table.get("talker"), sentence=table.get("sentence"))
    return LogRule(number, table["match"], wish.talker, wish.sentence, table.get("sounder"))


def rules_for(name: str, rules: Sequence[LogRule]) -> tuple[LogRule, ...]:
    """Rules that speak of a log. Raises InputError where two of them claim the same depths of it for two sounders."""
    fit = tuple(rule for rule in rules if rule.fits(name))
    for i, one in enumerate(fit):
        for other in fit[i + 1 :]:
            if (one.talker, one.sentence) == (other.talker, other.sentence):
                raise InputError(f"lake.toml: [[log]] {one.number} and {other.number} both claim {name} "
                                 f"(sounders {one.sounder} and {other.sounder}); give each its talker or sentence")
            if len(fit) > 1 and None in (one.talker or one.sentence, other.talker or other.sentence):
                raise InputError(f"lake.toml: of [[log]] {one.number} and {other.number}, which both speak of {name}, "
                                 "one takes all its depths; give each its talker or sentence")
    return fit


def settings_of(rule: LogRule | None, settings: ReadSettings) -> ReadSettings:
    """Reading settings with a rule's wishes."""
    if rule is None or not (rule.talker or rule.sentence):
        return settings
    return replace(settings, talker=rule.talker or settings.talker, sentence=rule.sentence or settings.sentence)


def with_sounder(part: Soundings, rule: LogRule | None, *, apart: bool) -> Soundings:
    """A log's rows with the sounder that the rule names; ``apart``: named apart from other depths of the same file."""
    if rule is None:
        return part
    tail = f" ({' '.join(word for word in (rule.talker, rule.sentence) if word)})" if apart else ""
    logs = tuple(
        replace(log, name=log.name + tail, sounder=rule.sounder or log.sounder) for log in part.logs
    )
    return replace(part, logs=logs)


def unused_rules(names: Sequence[str], rules: Sequence[LogRule]) -> tuple[str, ...]:
    """A line for each rule that speaks of no log."""
    return tuple(
        f"lake.toml: [[log]] {rule.number} speaks of {rule.match}, and no log has such a name" for rule in rules
        if not any(rule.fits(name) for name in names)
    )
