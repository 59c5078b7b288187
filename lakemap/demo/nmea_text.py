"""A recording as an NMEA 0183 log: sentences with checksums, and the litter that real logs carry between them."""

from __future__ import annotations

import functools
import operator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.demo.recording import Recording
from lakemap.demo.sounder import Sounder
from lakemap.units import M_PER_FATHOM, M_PER_FT, MPS_PER_KNOT

Floats = NDArray[np.float64]

WATER_EVERY_S, DATE_EVERY_S, COURSE_EVERY_S = 30, 10, 5
BROKEN, LITTER = 10, 12
"""Sentences whose characters were garbled on the wire, and lines that are no sentences."""
LITTER_LINES = ("#### recorder restarted", "$PHRWX,4,ok*", "\x00\x00$GP", "!", "battery 12.6 V")


@dataclass(frozen=True)
class Wiring:
    """What the log is made of: talkers, which fix sentences, which depth sentence."""

    position_talker: str = "GP"
    depth_talker: str = "SD"
    fix: str = "RMC"
    depth: str = "DBT"


def sentence(body: str) -> str:
    """The body with its dollar sign and checksum: XOR of all characters between $ and *."""
    total = functools.reduce(operator.xor, body.encode("ascii"), 0)
    return f"${body}*{total:02X}"


def nmea_log(taken: Recording, lonlat: Floats, wiring: Wiring, sounder: Sounder, seed: int) -> bytes:
    """The whole log, lines ended by CR LF; ``lonlat`` (m, 2) are the fixes in degrees."""
    rng = np.random.default_rng([seed, 77])
    lines = _fix_lines(taken, lonlat, wiring) + _depth_lines(taken, wiring, sounder) + _water_lines(taken, sounder, rng)
    lines.sort(key=lambda line: line[:2])
    texts = _with_litter([text for _, _, text in lines], rng)
    return "".join(f"{text}\r\n" for text in texts).encode("ascii")


def _fix_lines(taken: Recording, lonlat: Floats, wiring: Wiring) -> list[tuple[float, int, str]]:
    """(time, rank, sentence) of all fixes."""
    speed, course = _motion(taken)
    out: list[tuple[float, int, str]] = []
    stamps = taken.fix_time_s.astype(np.int64)
    names = np.datetime_as_string(stamps.astype("datetime64[s]"))
    for i, (stamp, name) in enumerate(zip(stamps.tolist(), names.tolist(), strict=True)):
        clock, place = name[11:].replace(":", "") + ".00", _place(*lonlat[i].tolist())
        date = f"{name[8:10]}{name[5:7]}{name[2:4]}"
        talker, motion = wiring.position_talker, (f"{speed[i]:.1f}", f"{course[i]:.1f}")
        if wiring.fix == "RMC":
            out.append((stamp, 0, sentence(f"{talker}RMC,{clock},A,{place},{motion[0]},{motion[1]},{date},,,A")))
            continue
        out.append((stamp, 1, sentence(f"{talker}GGA,{clock},{place},1,09,1.0,620.0,M,-26.0,M,,")))
        if stamp % DATE_EVERY_S == 0 or i == 0:
            day = f"{name[8:10]},{name[5:7]},{name[:4]}"
            out.append((stamp, 0, sentence(f"{talker}ZDA,{clock},{day},00,00")))
        if stamp % COURSE_EVERY_S == 0:
            knots, kmh = speed[i], speed[i] * MPS_PER_KNOT * 3.6
            out.append((stamp, 2, sentence(f"{talker}VTG,{course[i]:.1f},T,,M,{knots:.1f},N,{kmh:.1f},K,A")))
    return out


def _motion(taken: Recording) -> tuple[Floats, Floats]:
    """Speed [knots] and course [deg] at each fix (m,), from the true track smoothed as a receiver does."""
    x, y = (np.interp(taken.fix_time_s, taken.time_s, column) for column in (taken.x_m, taken.y_m))
    dx, dy = np.gradient(x), np.gradient(y)
    return np.minimum(np.hypot(dx, dy) / MPS_PER_KNOT, 5.0), np.degrees(np.arctan2(dx, dy)) % 360.0


def _place(lon_deg: float, lat_deg: float) -> str:
    return f"{_angle(lat_deg, 2)},{'N' if lat_deg >= 0 else 'S'},{_angle(lon_deg, 3)},{'E' if lon_deg >= 0 else 'W'}"


def _angle(degrees: float, digits: int) -> str:
    """Degrees and minutes in one number, ddmm.mmmmm."""
    units = round(abs(degrees) * 6_000_000)
    return f"{units // 6_000_000:0{digits}d}{units % 6_000_000 / 1e5:08.5f}"


def _depth_lines(taken: Recording, wiring: Wiring, sounder: Sounder) -> list[tuple[float, int, str]]:
    shown, draft_m = taken.shown_m.tolist(), sounder.draft_m
    bodies = [_dbt(depth) if wiring.depth == "DBT" else _dpt(depth, draft_m) for depth in shown]
    rows = zip(taken.time_s.tolist(), bodies, strict=True)
    return [(time_s, 3, sentence(wiring.depth_talker + body)) for time_s, body in rows]


def _dbt(depth_m: float) -> str:
    """Depth below the transducer, to a tenth of a foot; the other units follow from it."""
    if depth_m != depth_m:
        return "DBT,,f,,M,,F"
    feet = round(depth_m / M_PER_FT, 1)
    return f"DBT,{feet:.1f},f,{feet * M_PER_FT:.2f},M,{feet * M_PER_FT / M_PER_FATHOM:.2f},F"


def _dpt(depth_m: float, draft_m: float) -> str:
    """Depth below the transducer, to a centimetre, with the transducer's depth beside it."""
    return f"DPT,,{draft_m:.2f}," if depth_m != depth_m else f"DPT,{depth_m:.2f},{draft_m:.2f},"


def _water_lines(taken: Recording, sounder: Sounder, rng: np.random.Generator) -> list[tuple[float, int, str]]:
    times = taken.fix_time_s[taken.fix_time_s % WATER_EVERY_S == 0]
    warm = sounder.water_c + 0.15 * rng.standard_normal(len(times))
    return [(time_s, 4, sentence(f"YXMTW,{c:.1f},C")) for time_s, c in zip(times.tolist(), warm.tolist(), strict=True)]


def _with_litter(texts: list[str], rng: np.random.Generator) -> list[str]:
    """Some sentences garbled so that their checksum fails, one cut short, and litter between them."""
    for at in sorted(rng.choice(np.arange(100, len(texts) - 100), BROKEN, replace=False).tolist()):
        texts[at] = texts[at][:12] + ("8" if texts[at][12] != "8" else "3") + texts[at][13:]
    cut = int(rng.integers(100, len(texts) - 100))
    texts[cut] = texts[cut][: len(texts[cut]) // 2]
    for number, at in enumerate(sorted(rng.integers(1, len(texts), LITTER).tolist(), reverse=True)):
        texts.insert(at, LITTER_LINES[number % len(LITTER_LINES)])
    return texts
