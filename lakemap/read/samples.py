"""Bottom samples: CSV of place, bottom word and how it was felt."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from lakemap.errors import InputError
from lakemap.model.columns import SAMPLE_COLUMNS
from lakemap.model.samples import BottomSamples
from lakemap.read.bottom_words import felt_sigma_phi, grain_of_words
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.places import checked_places
from lakemap.read.reader import LIKELY, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source


class SamplesReader(Reader):
    """One sample a row; a column ``bottom`` tells such a file from marks and logs."""

    name: ClassVar[str] = "table of bottom samples"
    role: ClassVar[Role] = "samples"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, bottom (rock, gravel, sand, silt, mud, clay ...), felt (pole, weight, hook ...)"

    def likelihood(self, source: Source) -> float:
        """Likely with a column of bottom words beside lat and lon."""
        return LIKELY if {"lat", "lon", "bottom"} <= names_in_head(source, SAMPLE_COLUMNS) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> BottomSamples:
        """Rows in file order; those without place or known word are left out and said. Raises InputError without any.
        """
        table = FactsTable.of(source, settings, SAMPLE_COLUMNS, ["lat", "lon", "bottom"])
        words, felt = table.words("bottom"), table.words("felt")
        lat, lon, said = checked_places(table.number("lat"), table.number("lon"), table.line, source.name)
        grains = [grain_of_words(word) for word in words]
        named = np.array([grain is not None for grain in grains])
        strange = ~named & np.array([bool(word) for word in words])
        if strange.any():
            first = words[int(np.flatnonzero(strange)[0])]
            said.append(f"{source.name}: {first!r} is no bottom known here ({table.first_lines(strange)}); left out, "
                        "write rock, gravel, sand, silt, mud, clay or weed")
        good = named & np.isfinite(lon)
        if not good.any():
            raise InputError(f"{source.name}: no row with a place and a known bottom word; leave the file out")
        if (~good & ~strange).any():
            said.append(f"{source.name}: no place or no bottom in {table.first_lines(~good & ~strange)}; left out")
        kept = np.flatnonzero(good)
        sizes = np.array([grains[i] for i in kept], dtype=np.float64).reshape(-1, 2)
        sigma = np.hypot(sizes[:, 1], [felt_sigma_phi(felt[i]) for i in kept])
        return BottomSamples.of(
            (lon[kept], lat[kept]), tuple(" ".join(words[i].lower().split()) for i in kept),
            tuple(felt[i] for i in kept), (sizes[:, 0], sigma), table.line[kept], source.name, tuple(said),
        )
