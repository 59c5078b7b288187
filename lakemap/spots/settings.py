"""Settings of spots/."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field

from lakemap.errors import SettingError
from lakemap.limits import Settings, above, at_least, between


@dataclass(frozen=True)
class WeightSettings(Settings):
    """What each part of a score counts; only their ratios matter. Our own choice until a catch log says better."""

    structure: float = at_least(0, default=0.25, why="weight of the bottom's shape nearby")
    hard_bottom: float = at_least(0, default=0.15, why="weight of hard bottom under the spot")
    edge: float = at_least(0, default=0.15, why="weight of a change from hard to soft nearby")
    relief: float = at_least(0, default=0.15, why="weight of how far it stands up")
    bait_near: float = at_least(0, default=0.1, why="weight of bait, fish and catches nearby")
    fishable_water: float = at_least(0, default=0.1, why="weight of a floor in water that suits what is sought")
    confidence: float = at_least(0, default=0.2, why="weight of the probability that it is there")

    @classmethod
    def section(cls) -> str:
        """The table's name in lake.toml."""
        return "spots.weights"

    def __post_init__(self) -> None:
        super().__post_init__()
        if not any(dataclasses.astuple(self)):
            raise SettingError("[spots.weights] all weights are 0: at least one must be above 0; leave one out")


@dataclass(frozen=True)
class SpotSettings(Settings):
    """How hits are gathered and weighed; none has a printed source, all are our own choice. ``prior`` and
    ``false_alarm`` are those that make probabilities true on invented lakes (tests/bench/bench_cover.py)."""

    weights: WeightSettings = field(default_factory=WeightSettings)
    link_m: float = above(0, default=3.0, why="two hits this close belong together however well they are placed")
    link_sigmas: float = at_least(0, default=1.5, why="hits within so many of their joint position errors belong too")
    link_most_m: float = above(0, default=12.0, why="hits farther apart are never the same thing")
    spot_m: float = above(0, default=15.0, why="a longer chain of hits is cut into several spots")
    least_hits: int = at_least(1, default=1, why="a hit with fewer others around it is left alone")
    prior: float = between(0.01, 0.99, default=0.42, why="probability of a thing before any look counts")
    detection: float = between(0.05, 0.99, default=0.7, why="share of passes right over a thing that show it")
    false_alarm: float = between(0.001, 0.5, default=0.02, why="share of passes that show a thing where none is")
    beam_deg: float = between(1, 120, default=20.0, why="full beam angle where the log does not say")
    least_probability: float = between(0, 1, default=0.5, why="what is less likely than this stays a hit")
    near_m: float = above(0, default=50.0, why="features farther off are not near")
    bait_near_m: float = above(0, default=30.0, why="bait and fish farther off are not near")
    fish_half_life_days: float = above(0, default=30.0, why="a sign of fish counts half after so long: they move")
    catch_near_m: float = above(0, default=30.0, why="what was caught farther off says nothing of a spot")
    edge_m: float = above(0, default=15.0, why="hard and soft bottom within this distance make an edge")
    relief_m: float = above(0, default=2.0, why="what stands up so far has the full score for relief")
    feature_confidence: float = between(0, 1, default=0.9, why="features less sure than this are no spots of their own")
    features_per_kind: int = at_least(0, default=8, why="so many of the greatest humps, points ... become spots")

    @classmethod
    def section(cls) -> str:
        """The table's name in lake.toml."""
        return "spots"

    def __post_init__(self) -> None:
        if isinstance(self.weights, Mapping):
            object.__setattr__(self, "weights", WeightSettings.from_mapping(self.weights))
        if not isinstance(self.weights, WeightSettings):
            raise SettingError(
                f"[spots] weights = {self.weights!r}: must be a table of numbers; write spots.weights.structure = 0.25"
            )
        super().__post_init__()
        if self.false_alarm >= self.detection:
            raise SettingError(
                f"[spots] false_alarm = {self.false_alarm}: must be below detection = {self.detection} "
                "(a hit would speak against the thing); leave it out for 0.02"
            )
