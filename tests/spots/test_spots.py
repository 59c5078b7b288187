"""Spots: what makes one, its name, its score and its reasons."""

from __future__ import annotations

import re
from dataclasses import fields, replace

import numpy as np
import pytest
from floors import WEST, bump, hits, mesh, passes, surface
from scipy.stats import norm
from shapely.geometry import box

from lakemap.errors import SettingError
from lakemap.geo.directions import direction_word
from lakemap.model.hits import Hits
from lakemap.model.soundings import PassBias
from lakemap.model.spot_names import LETTERS
from lakemap.model.terrain import Features
from lakemap.spots import SpotSettings, find_spots, score_spots
from lakemap.spots.doubt import chance_standing
from lakemap.spots.name import names_of
from lakemap.spots.neighbours import features_near
from lakemap.spots.reasons import bottom_sentences, passes_sentence
from lakemap.spots.score import weighed
from lakemap.spots.settings import WeightSettings
from lakemap.terrain import TerrainSettings, describe_terrain
from lakemap.units import fill_lengths

SETTINGS = SpotSettings()
EAST, SOUTH = mesh(150)
LEVEL = surface(np.full(EAST.shape, 5.0))
LEVEL_TERRAIN = describe_terrain(LEVEL, TerrainSettings())
LINES = [((0, -100), (290, -100)), ((100, 0), (100, -290)), ((0, -200), (290, -200))]


def spots_of(some, depth=LEVEL, hardness=None, lines=LINES, settings=SETTINGS, terrain=LEVEL_TERRAIN):
    "Scored spots of some hits over a floor with passes."
    found = find_spots(some, terrain, passes(lines), depth, hardness, settings)
    return score_spots(found, terrain, hardness, settings)


def seen_twice(x=100.0, y=-100.0, **more):
    "One thing shown by both passes that cross there."
    return [{"x": x, "y": y, "pass": 0} | more, {"x": x + 0.5, "y": y, "pass": 1} | more]


def test_a_thing_seen_by_both_passes_is_one_spot():
    "Place, depth, count of passes and height come out; it is likely."
    spots = spots_of(hits(seen_twice()))
    assert len(spots) == 1 and spots.kind == ("cover",)
    assert (spots.seen[0], spots.could_see[0]) == (2, 2) and spots.probability[0] > 0.9
    assert abs(spots.x_m[0] - WEST - 100.25) < 0.01 and spots.position_sigma_m[0] == pytest.approx(0.7, abs=0.05)
    assert spots.depth_m[0] == 5.0 and spots.depth_sigma_m[0] == pytest.approx(0.1)
    assert spots.height_m[0] == pytest.approx(0.8) and np.isnan(spots.hardness[0])
    assert list(spots.hits[0]) == [0, 1]
    assert spots.lon_deg[0] == pytest.approx(-93.0 + 100.25 / 78_850, abs=1e-4)  # UTM 15's middle is 93 W


def test_one_ping_alone_is_no_spot():
    "One ping of one pass stays a hit; with another pass, or a mark, it becomes a spot."
    alone = {"x": 100, "y": -100, "pass": 0, "pings": 1, "confidence": 0.9}
    assert len(spots_of(hits([alone]), lines=LINES[:1])) == 0
    assert len(spots_of(hits([alone, alone | {"pass": 1}]))) == 1
    assert len(spots_of(hits([alone, {"x": 101, "y": -100, "kind": "stump"}]))) == 1


def test_a_rise_that_is_the_floor_of_all_passes_is_no_spot():
    "One pass drew its floor 1.2 m too deep: what it calls a rise lies on the surface and is dropped; real ones stay."
    rise = {"x": 100, "y": -100, "pass": 0, "height": 1.2, "confidence": 0.95}
    assert len(spots_of(hits([rise | {"depth": 6.2}]), lines=LINES[:1])) == 0
    assert len(spots_of(hits([rise | {"depth": 5.0}]), lines=LINES[:1])) == 1


def test_chance_of_standing_by_hand():
    "Top 0.5 m over a level surface with sigma 0.1 and 0.1 m of detail; a mark, or a place off the map, is not doubted."
    some = hits([
        {"x": 100, "y": -100, "pass": 0, "height": 0.5}, {"x": 100, "y": -100, "kind": "stump", "height": 0.0},
        {"x": 9000, "y": -100, "pass": 0},
    ])
    expected = norm.cdf((0.5 - 0.2) / np.hypot(0.1, 0.1))
    assert list(chance_standing(some, LEVEL, LEVEL_TERRAIN)) == [pytest.approx(expected, abs=1e-6), 1.0, 1.0]


def test_pass_bias_is_taken_off_before_a_rise_is_doubted():
    "A pass that reads 0.4 m too deep shows the same rise as one without bias."
    biased = replace(LEVEL, pass_bias=PassBias(np.array([0], np.int32), np.array([0.4]), np.array([0.05])))
    plain, shifted = (hits([{"x": 100, "y": -100, "pass": 0, "depth": depth}]) for depth in (5.0, 5.4))
    assert chance_standing(shifted, biased, LEVEL_TERRAIN) == pytest.approx(
        chance_standing(plain, LEVEL, LEVEL_TERRAIN), abs=1e-9)


def test_two_pings_through_half_the_water_need_support():
    "Two pings 3 m up in 5 m of water stay a hit; three pings, or another pass, make a spot."
    tall = {"x": 100, "y": -100, "pass": 0, "height": 3.0, "pings": 2, "confidence": 0.9}
    assert len(spots_of(hits([tall]), lines=LINES[:1])) == 0
    assert len(spots_of(hits([tall | {"pings": 3}]), lines=LINES[:1])) == 1
    assert len(spots_of(hits([tall, tall | {"pass": 1}]))) == 1


@pytest.mark.parametrize("kind", ["bait", "fish", "catch"])
def test_what_moves_makes_no_spot(kind):
    "Any number of signs of fish make no spot; beside one they raise its score and are told."
    fish = [{"x": 110 + i, "y": -100, "kind": kind} for i in range(6)]
    assert len(spots_of(hits(fish))) == 0
    spots = spots_of(hits([*seen_twice(), *fish]))
    assert len(spots) == 1 and spots.score_parts["bait_near"][0] > 0.9
    assert any(said.startswith("6 signs of bait or fish") for said in spots.reasons[0])
    assert all(list(rows) == [0, 1] for rows in spots.hits)


def test_what_many_passes_missed_is_no_spot_but_a_mark_stays():
    "Eleven passes over a single rise without a sign drop it; the owner's mark there stays, with its low probability."
    lines = [((50, -100 + 0.1 * i), (150, -100 + 0.1 * i)) for i in range(12)]
    rise = {"x": 100, "y": -100, "pass": 0, "confidence": 0.6}
    assert len(spots_of(hits([rise]), lines=lines)) == 0
    marked = spots_of(hits([{"x": 100, "y": -100, "kind": "brush"}]), lines=lines)
    assert marked.kind == ("brush",) and marked.probability[0] < 0.5
    assert "Seen by none of the 12 passes that could have seen it." in marked.reasons[0]


def test_a_mark_names_the_kind_and_the_oldest_hit_gives_the_code():
    "A stump marked on what two passes had shown is a stump; the code after the dash stays as it was."
    before = spots_of(hits(seen_twice()))
    after = spots_of(hits([*seen_twice(), {"x": 100, "y": -101, "kind": "stump", "minute": None}]))
    assert after.kind == ("stump",)
    assert after.name[0].split("-")[1] == before.name[0].split("-")[1]
    assert "Marked once." in after.reasons[0]


@pytest.mark.parametrize(("sigma_m", "by", "said"), [(8.0, 0, True), (1.0, 0, False), (8.0, 1, False)])
def test_a_mark_that_no_pass_showed_says_how_well_its_place_is_known(sigma_m, by, said):
    "16 m: passes may have gone by beside it; not where the place is known well, or a pass showed it."
    shown = [{"x": 100, "y": -100, "pass": 0, "sigma": 8.0}] * by
    spot = spots_of(hits([{"x": 100, "y": -100, "kind": "stump", "sigma": sigma_m, "minute": None}, *shown]))
    assert spot.could_see[0] > 0
    assert ("Its place is known to {15.680 m:0} only, so passes may have gone by beside it." in spot.reasons[0]) == said


def test_names_stay_while_the_lake_grows():
    "Over ten added logs, each with its own hits on and beside what is known, no spot changes its name."
    rng = np.random.default_rng(3)
    things = [(40.0 + 60 * i, -60.0 - 50 * j) for i in range(4) for j in range(4)]
    rows, known = [], {}
    for log in range(11):
        for x, y in things:
            dx, dy = rng.normal(0, 1.0, 2)
            rows.append({"x": x + dx, "y": y + dy, "pass": log, "minute": 100 * log + len(rows), "pings": 3})
        spots = spots_of(hits(rows), lines=[((0, -400), (9, -400))])
        now = {int(rows_of[0]): name for rows_of, name in zip(spots.hits, spots.name, strict=True)}
        assert len(now) == len(things)
        assert all(now[first] == name for first, name in known.items())
        known = now


def test_names_suit_a_plotter():
    "ASCII, at most 12 signs, no letter that is misread, none twice even where two hits are the same."
    same = np.zeros(3), np.zeros(3)
    names = names_of(("drop-off", "stump", "stump"), np.full(3, np.datetime64("NaT", "ms")), *same)
    assert len(set(names)) == 3 and all(re.fullmatch(rf"[a-z]+-[{LETTERS}]{{6}}", name) for name in names)
    assert max(len(name) for name in names) <= 12 and names[0].startswith("drop-")
    assert names_of(("stump",), np.array(["2023-06-01T08:00:00.000"], "datetime64[ms]"), *np.zeros((2, 1))) == (
        "stump-" + names_of(("rock",), np.array(["2023-06-01T08:00"], "datetime64[ms]"), *np.zeros((2, 1)))[0][5:],)


def test_order_of_hits_changes_nothing_but_row_numbers():
    "Shuffled hits make the same spots, to the bit."
    rng = np.random.default_rng(4)
    rows = [row for _ in range(30) for row in seen_twice(*(rng.uniform(0, 290, 2) * (1, -1)))]
    whole = hits(rows)
    order = rng.permutation(len(whole))
    a, b = spots_of(whole), spots_of(whole.take(order))
    for spec in fields(a):
        if spec.name in ("hits", "score_parts"):
            continue
        assert np.array_equal(np.asarray(getattr(a, spec.name)), np.asarray(getattr(b, spec.name)), equal_nan=True) \
            if spec.name not in ("name", "kind", "reasons", "last_seen") else True
    assert a.name == b.name and a.reasons == b.reasons
    assert [list(order[rows]) for rows in b.hits] == [list(rows) for rows in a.hits]


def test_bare_structure_becomes_a_spot_of_its_own_kind():
    "A hump that a pass crossed is a spot without hits; a thing found on it takes its place and tells of the hump."
    depth = surface(6.0 - bump(EAST, SOUTH, (100, 100), 10, 2.0), sigma=0.1)
    terrain = describe_terrain(depth, TerrainSettings())
    bare = spots_of(Hits.empty(), depth, terrain=terrain)
    assert bare.kind == ("hump",) and bare.seen[0] == 2 and len(bare.hits[0]) == 0
    assert bare.reasons[0][0].startswith("A hump that stands {") and bare.name[0].startswith("hump-")
    both = spots_of(hits(seen_twice(depth=4.0)), depth, terrain=terrain)
    assert both.kind == ("cover",)
    assert any(said.startswith("Hump of {") for said in both.reasons[0])
    assert len(spots_of(Hits.empty(), depth, terrain=terrain, lines=[((0, -250), (290, -250))])) == 0


def test_a_shape_of_the_floor_is_as_fresh_as_the_last_pass_over_it():
    "Of three dated passes the second is the last over the hump, the third goes by elsewhere; undated ones say none."
    depth = surface(6.0 - bump(EAST, SOUTH, (100, 100), 10, 2.0), sigma=0.1)
    sailed = passes([((0, -100), (290, -100)), ((100, 0), (100, -290)), ((0, -250), (290, -250))])
    days = np.array(["2024-05-01", "2024-06-01", "2024-07-01"], "datetime64[ms]")[sailed.pass_id]
    terrain = describe_terrain(depth, TerrainSettings())
    for when, expected in ((days, "2024-06-01T00:00:00.000"), (np.full(len(days), np.datetime64("NaT", "ms")), "NaT")):
        hump, = find_spots(Hits.empty(), terrain, replace(sailed, time_utc=when), depth, None, SETTINGS).last_seen
        assert str(hump) == expected


def test_a_hole_a_saddle_and_the_outside_of_a_bend_are_places_to_stop_at():
    "Each with a sentence of its own and the word of its kind in its name."
    east, south = mesh()
    bed = 200.0 + 60.0 * np.exp(-(((south - 250.0) / 45.0) ** 2))
    away = (east - bed) / np.sqrt(1 + np.gradient(bed, south[:, 0], axis=0) ** 2)
    bar = 1.5 * np.exp(-(((south - 420) / 22) ** 2)) * np.exp(-(((east - 400) / 60) ** 4))
    depth = 5 + 0.004 * south + 1.6 * np.exp(-((away / 11.0) ** 2)) + bump(east, south, (400, 100), 15, 2.0) - bar
    depth = depth - bump(east, south, (360, 420), 16, 1.6) - bump(east, south, (440, 420), 16, 1.6)
    on = surface(depth)
    lines = [((100, -y), (490, -y)) for y in (100, 250, 420)] + [((x, -10), (x, -490)) for x in (270, 400)]
    spots = spots_of(Hits.empty(), on, terrain=describe_terrain(on, TerrainSettings()), lines=lines)
    first = {kind: (name.split("-")[0], said[0].split("{")[0]) for kind, name, said in zip(
        spots.kind, spots.name, spots.reasons, strict=True)}
    assert first["hole"] == ("hole", "A hole ") and first["saddle"] == ("saddl", "A saddle at ")
    assert first["outside bend"] == ("bend", "The outside of a bend of a channel that lies ")


def test_two_sections_of_one_bank_that_meet_are_one_place():
    "Bare spots of a kind keep apart; of two nearer than that the greater stands."
    depth = np.interp(SOUTH, [0, 140, 152, 300], [3.0, 4.0, 7.5, 8.0])
    on = surface(depth)
    lines = [((x, -10), (x, -290)) for x in range(5, 300, 10)]
    terrain = describe_terrain(on, TerrainSettings())
    assert terrain.features.kind.count("drop-off") == 4
    spots = spots_of(Hits.empty(), on, terrain=terrain, lines=lines, settings=replace(SETTINGS, near_m=70.0))
    rows = [k for k, kind in enumerate(spots.kind) if kind == "drop-off"]
    away = np.abs(np.subtract.outer(spots.x_m[rows], spots.x_m[rows])) + 1e9 * np.eye(len(rows))
    assert len(rows) == 3 and away.min() >= 70.0


def test_score_is_the_weighted_mean_of_what_was_observed():
    "Parts that are NaN are left out; the rest is weighed; nothing observed gives 0."
    weights = WeightSettings(structure=1, hard_bottom=1, edge=0, relief=2, bait_near=1, confidence=0)
    names = list(weights.as_dict())
    parts = {name: np.full(2, np.nan) for name in names}
    parts["structure"], parts["relief"] = np.array([1.0, np.nan]), np.array([0.25, np.nan])
    assert list(weighed(parts, weights)) == [pytest.approx((1.0 + 0.5) / 3), 0.0]


def test_scores_run_from_best_to_worst_and_hold_all_parts():
    "Best first, 0..1, every part of the contract there."
    drawn = [*seen_twice(), *seen_twice(100, -200, height=0.3, confidence=0.5)]
    drawn[3]["pass"] = 2
    spots = spots_of(hits(drawn))
    assert len(spots) == 2 and spots.score[0] > spots.score[1]
    assert set(spots.score_parts) == set(WeightSettings().as_dict())
    assert all(np.all(np.isnan(part) | ((part >= 0) & (part <= 1))) for part in spots.score_parts.values())


def test_hard_bottom_and_edge_come_from_the_hardness_surface():
    "On hard bottom beside soft: the index with its sigma, the edge, and both said; without a surface neither."
    hardness = surface(np.where(EAST < 108, 0.85, 0.15), sigma=0.05, name="hardness")
    spots = spots_of(hits(seen_twice()), hardness=hardness)
    assert spots.hardness[0] == pytest.approx(0.85) and spots.score_parts["edge"][0] == 1.0
    assert "Hard bottom (0.85 ± 0.05)." in spots.reasons[0]
    assert "Hard and soft bottom meet nearby." in spots.reasons[0]
    far = spots_of(hits(seen_twice(100, -100)), hardness=surface(np.full(EAST.shape, 0.1), sigma=0.05, name="hardness"))
    assert far.score_parts["edge"][0] == 0.0 and "Soft bottom (0.10 ± 0.05)." in far.reasons[0]
    assert np.isnan(spots_of(hits(seen_twice())).score_parts["edge"][0])


def test_reasons_read_as_sentences_in_the_readers_unit():
    "Lengths stand as slots until the unit is known; every reason starts with a capital and ends with a full stop."
    said = spots_of(hits(seen_twice())).reasons[0]
    assert said[0] == "Seen by all 2 passes that could have seen it."
    assert said[1] == "Stands {0.800 m} above a floor at {5.000 m}."
    assert fill_lengths(said[1], "ft") == "Stands 2.6 ft above a floor at 16.4 ft."
    assert all(re.fullmatch(r"[A-Z0-9].*\.", text) for text in said)


@pytest.mark.parametrize(("seen", "could", "text"), [
    (3, 5, "Seen by 3 of the 5 passes that could have seen it."), (1, 1, "Seen by the one pass that could have."),
    (0, 0, "No pass could have seen it."), (0, 1, "Not seen by the one pass that could have."),
])
def test_passes_in_words(seen, could, text):
    "The count of passes as a person would say it."
    assert passes_sentence(seen, could) == text


@pytest.mark.parametrize(("index", "word"), [(0.1, "Soft"), (0.5, "Medium"), (0.66, "Hard"), (1.0, "Hard")])
def test_bottom_words(index, word):
    "Words follow the limits of the hardness index; not observed says nothing."
    assert bottom_sentences(index, 0.1, np.nan)[0].startswith(word)
    assert bottom_sentences(np.nan, np.nan, np.nan) == ()


@pytest.mark.parametrize(("east", "north", "word"), [
    (0, 1, "north"), (1, 1, "north-east"), (1, 0, "east"), (0, -1, "south"), (-1, 0, "west"), (-1, 1.1, "north-west"),
    (-0.1, 1, "north"),
])
def test_directions(east, north, word):
    "Eight winds, each a sector of 45 deg about its middle."
    assert direction_word(east, north) == word


def test_features_near_with_distance_and_direction():
    "The nearest of each kind within reach, measured to its outline; on it, the distance is 0."
    features = Features(
        kind=("drop-off", "drop-off", "hump"),
        geometry=(box(14, -5, 20, 5), box(-40, -5, -30, 5), box(-1, -1, 1, 1)),
        x_m=np.array([17.0, -35, 0]), y_m=np.zeros(3), relief_m=np.ones(3), area_m2=np.ones(3), slope_deg=np.ones(3),
        depth_m=np.ones(3), confidence=np.ones(3),
    )
    near, = features_near(np.zeros(1), np.zeros(1), features, 50.0)
    assert [(some.row, some.distance_m) for some in near] == [(2, 0.0), (0, 14.0)] and near[1].direction == "east"
    assert features_near(np.array([500.0]), np.zeros(1), features, 50.0) == [[]]


def test_weights_are_checked_one_by_one():
    "A negative weight, an unknown one, no weight at all and a weight that is no table are refused by name."
    assert SpotSettings.from_mapping({"weights": {"structure": 0.4}}).weights == WeightSettings(structure=0.4)
    assert SpotSettings().as_dict()["weights"]["hard_bottom"] == 0.15
    with pytest.raises(SettingError, match=r"\[spots.weights\] relief = -1: must be 0 or more"):
        SpotSettings.from_mapping({"weights": {"relief": -1}})
    with pytest.raises(SettingError, match=r"\[spots.weights\] has no setting 'weed'; it has structure, hard_bottom"):
        SpotSettings.from_mapping({"weights": {"weed": 1}})
    with pytest.raises(SettingError, match=r"weights = 3: must be a table"):
        SpotSettings.from_mapping({"weights": 3})
    with pytest.raises(SettingError, match=r"all weights are 0"):
        WeightSettings(0, 0, 0, 0, 0, 0, 0)
    with pytest.raises(SettingError, match=r"\[spots\] false_alarm = 0.4: must be below detection = 0.3"):
        SpotSettings(detection=0.3, false_alarm=0.4)


def test_nothing_at_all():
    "No hits, no features: no spots, and scoring them is no error."
    assert len(spots_of(Hits.empty())) == 0


def test_hits_off_the_map_or_without_place():
    "A mark outside the surface is a spot with the hit's own depth; one without a place is left alone."
    spots = spots_of(hits([{"x": 5000, "y": 0, "kind": "rock", "depth": 3.3}, {"x": np.nan, "y": 0, "kind": "rock"}]))
    assert len(spots) == 1 and spots.depth_m[0] == 3.3 and np.isnan(spots.depth_sigma_m[0])
    assert "Stands {0.800 m} above a floor at {3.300 m}." in spots.reasons[0]
