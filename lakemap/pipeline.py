"""The whole job as a story: from everything recorded on one lake to surfaces, terrain and spots."""

from __future__ import annotations

from dataclasses import dataclass

from threadpoolctl import threadpool_limits

from lakemap.changes import change_layers, find_changes
from lakemap.clean import clean, flag_off_water, part_of, prove_corrections, set_clocks, shore_within
from lakemap.echo import find_hits
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import on_crs, working_crs
from lakemap.geo.notes_by_time import join_notes
from lakemap.geo.off_map import off_map_said
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.grid import frame_for, hold_up, make_surface, with_slopes_put_right
from lakemap.hardness import classify_bottom, place_samples, read_hardness
from lakemap.model.crossovers import Crossovers
from lakemap.model.lake_facts import LakeFacts
from lakemap.model.lake_map import LakeMap
from lakemap.model.marks import Marks
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.progress import Progress, quiet
from lakemap.project import Lake
from lakemap.publish.reader_unit import choose_unit
from lakemap.read import (
    read_catches,
    read_keep_out,
    read_lake_facts,
    read_logs,
    read_marks,
    read_notes,
    read_priors,
    read_samples,
    read_shore,
)
from lakemap.spots import find_spots, heed_catches, heed_owner, score_spots, with_own_notes, without_returned
from lakemap.terrain import describe_terrain
from lakemap.water import describe_water, temperatures_of


@dataclass(frozen=True)
class Checked:
    """Readings after cleaning, and what passes that meet say of each other."""

    soundings: Soundings
    crossovers: Crossovers
    shore: Shoreline | None
    facts: LakeFacts


def check_lake(lake: Lake, progress: Progress = quiet) -> Checked:
    """Read and clean; no surface is made."""
    s = lake.settings
    progress("reading")
    facts = read_lake_facts(lake.files, s.read)
    soundings = read_logs(lake.logs, s.read, progress, s.log)
    area = read_shore([lake.area], s.read) if lake.area else None
    shore = shore_within(read_shore(lake.shore, s.read), area)
    progress("cleaning")
    soundings = part_of(set_clocks(soundings, facts.boats, s.clean), area, *s.read.span_s())
    soundings = on_crs(soundings, working_crs(soundings, s.grid.crs))
    soundings = flag_off_water(soundings, shore, s.clean, facts)
    soundings = clean(soundings, s.clean, facts, shore)
    crossovers = find_crossovers(soundings)
    return Checked(prove_corrections(soundings, crossovers), crossovers, shore, facts)


# one thread: the last bits of a product depend on how threads share it
@threadpool_limits.wrap(limits=1)  # type: ignore
def map_lake(lake: Lake, progress: Progress = quiet) -> LakeMap:
    """From everything recorded on one lake to surfaces, terrain and spots; nothing is written here."""
    s = lake.settings
    checked = check_lake(lake, progress)
    soundings, shore = checked.soundings, checked.shore
    progress("finding what stands on the floor")
    marks = read_marks(lake.marks, s.read)
    soundings, noted = join_notes(soundings, read_notes(lake.marks, s.read), s.read.note_limit_s)
    hits, tapped_said = find_hits(Marks.concatenate([marks, noted]), soundings, s.echo)
    progress("comparing dates")
    bias = solve_pass_bias(checked.crossovers)
    soundings, squares = find_changes(soundings, bias, s.changes)
    progress("making the depth surface")
    frame = frame_for(soundings, shore, s.grid)
    slopes = s.clean.applies("slope within the beam")
    depth = make_surface(soundings.observed("depth_m", beam=slopes), frame, s.grid, bias)
    depth = hold_up(depth, soundings.observed("depth_m", beam=slopes), frame, s.grid, read_priors(lake.files, s.read))
    soundings = soundings.less_bias(depth.pass_bias)
    soundings = with_slopes_put_right(soundings, depth) if slopes else soundings
    progress("describing the floor")
    terrain = describe_terrain(depth, s.floor_in(choose_unit(soundings, s.publish)))
    progress("reading hardness")
    samples = place_samples(read_samples(lake.of("samples"), s.read), soundings.crs, shore)
    slope_deg = terrain.slope.at(soundings.x_m, soundings.y_m)
    soundings, scale = read_hardness(soundings, s.hardness, samples, slope_deg)
    readings, hardness, bottom = soundings.observed("hardness"), None, None
    if len(readings):
        progress("making the hardness surface")
        hardness = make_surface(readings, frame, s.grid)
        bottom, hardness = classify_bottom(hardness, soundings, scale, s.hardness)
    hazards, closed = read_keep_out(lake.files, s.read)
    water = describe_water(checked.facts.profile, depth, s.water, soundings.newest)
    warm, temperature = temperatures_of(soundings), None
    if warm is not None:
        progress("making the temperature surface")
        temperature = warm.with_surface(make_surface(warm.readings, frame, s.grid, warm.passes))
    progress("gathering spots")
    hits, own_notes, returned_said = without_returned(hits, terrain.features, soundings, frame.crs)
    spots = with_own_notes(find_spots(hits, terrain, soundings, depth, hardness, s.spots), own_notes)
    spots, owner_said = heed_owner(spots, checked.facts.edits) if s.clean.applies("edits") else (spots, ())
    spots = score_spots(spots, terrain, hardness, s.spots, bottom, water)
    spots, catches_said = heed_catches(spots, read_catches(lake.files, s.read), soundings.crs, s.spots)
    return LakeMap(
        name=lake.name, soundings=soundings, crossovers=find_crossovers(soundings), hits=hits, depth=depth,
        hardness=hardness, bottom=bottom, terrain=terrain, spots=spots, shore=shore,
        changes=change_layers(squares, frame), water=water, temperature=temperature, hazards=hazards,
        closed=closed, settings=s.as_dict(), inputs=lake.inputs,
        messages=lake.messages + marks.messages + tapped_said + returned_said + owner_said + catches_said
        + (water.messages if water else ()) + hazards.messages + closed.messages + off_map_said(frame, hazards, closed),
    )
