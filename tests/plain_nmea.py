"""The plain twin of lakemap/read/kernels: NMEA sentences split and read one by one, rows placed by looking around them.

Nothing here is fast, and nothing is shared with the compiled loops but the numbers that stand for kinds and states.
"""

from __future__ import annotations

import math
import re
from datetime import date
from functools import reduce

from lakemap.read.kernels.nmea_layout import BAD, BARE, CUT, GOOD, KINDS
from lakemap.units import M_PER_FATHOM, M_PER_FT

NAN = math.nan
HEAD = 1 << 16
NUMBER = re.compile(rb" *[+-]?(\d+\.?\d*|\.\d+) *")
SENTENCE = re.compile(rb"\$([A-OQ-Z][A-Z0-9][A-Z]{3}),([^$!\\\r\n]*)")
PIECE = re.compile(rb"\\[^\\$!\r\n]{0,254}\\|\$[^$!\\\r\n]*")
RANGE_ERROR = {b"1": 3.5, b"2": 1.5, b"3": 1.5, b"4": 0.03, b"5": 0.4}
MODE_ERROR = {"A": 3.5, "P": 3.5, "D": 1.5, "R": 0.03, "F": 0.4}


def number(field):
    "A finite decimal number, else NaN."
    return float(field) if NUMBER.fullmatch(field) else NAN


def time_of_day_s(field):
    "``hhmmss.ss`` as seconds since midnight."
    if len(field) < 6 or not field[:6].isdigit():
        return NAN
    hours, minutes, seconds = int(field[:2]), int(field[2:4]), number(field[4:])
    return hours * 3600 + minutes * 60 + seconds if hours < 24 and minutes < 60 and 0 <= seconds < 61 else NAN


def angle_deg(field, letter, positive, negative):
    "``dddmm.mmm`` and its letter as degrees."
    whole = field.partition(b".")[0]
    if not 2 <= len(whole) <= 5 or not whole.isdigit() or letter not in (positive, negative):
        return NAN
    minutes = number(field[len(whole) - 2 :])
    if not 0 <= minutes < 60:
        return NAN
    value = int(whole[:-2] or b"0") + minutes / 60.0
    return value if letter == positive else -value


def place(fields):
    "(lon, lat); NaN for an impossible place and for 0, 0."
    lat, lon = angle_deg(fields[0], fields[1], b"N", b"S"), angle_deg(fields[2], fields[3], b"E", b"W")
    return (lon, lat) if abs(lat) <= 90 and abs(lon) <= 180 and (lat, lon) != (0, 0) else (NAN, NAN)


def day_number(day, month, year):
    "Days since 1970-01-01 by the calendar of the standard library."
    if not all(part.isdigit() and len(part) <= 9 for part in (day, month, year)):
        return NAN
    full = int(year) + (1900 if int(year) >= 80 else 2000) * (len(year) == 2)
    try:
        return float(date(full, int(month), int(day)).toordinal() - date(1970, 1, 1).toordinal())
    except (ValueError, OverflowError):
        return NAN


def sigma_m(hdop, error):
    "HDOP times the user range error, along one axis."
    return number(hdop) * error * math.sqrt(0.5) if error and 0 < number(hdop) < 50 else NAN


def signed(size, letter):
    "East positive."
    return {b"E": number(size), b"W": -number(size)}.get(letter[:1], NAN)


def read_fix(kind, f):
    "Second of day, day, lon, lat, sigma or variation."
    if kind == "ZDA":
        return [time_of_day_s(f[0]), day_number(f[1], f[2], f[3])]
    if kind in ("GGA", "GNS"):
        error = RANGE_ERROR.get(f[5]) if kind == "GGA" else min(
            (MODE_ERROR[letter] for letter in f[5].decode("latin-1") if letter in MODE_ERROR), default=None)
        return [time_of_day_s(f[0]), NAN, *place(f[1:5]), sigma_m(f[7], error)] if error else []
    status, mode = (f[1], f[11]) if kind == "RMC" else (f[5], f[6])
    oldest = kind == "GLL" and not any(f[4:7])
    if not oldest and (status != b"A" or mode[:1] in (b"N", b"E", b"M", b"S")):
        return []
    if kind == "GLL":
        return [time_of_day_s(f[4]), NAN, *place(f[0:4])]
    day = day_number(f[8][:2], f[8][2:4], f[8][4:]) if len(f[8]) == 6 else NAN
    return [time_of_day_s(f[0]), day, *place(f[2:6]), signed(f[9], f[10])]


def read_depth(kind, f):
    "Depth [m], offset [m], whether in feet."
    if kind == "DPT":
        return [number(f[0]), number(f[1]), 0.0]
    for field, unit, feet in ((f[2], 1.0, 0.0), (f[0], M_PER_FT, 1.0), (f[4], M_PER_FATHOM, 0.0)):
        if number(field) == number(field):
            return [number(field) * unit, NAN, feet]
    return [NAN, NAN, 0.0]


def read_other(kind, f):
    "Heading and variation, water temperature, or sigma."
    value, letter = number(f[0]), f[1][:1]
    if kind == "GSA":
        return [sigma_m(f[15], 3.5)]
    if kind == "MTW":
        return [value if letter in (b"C", b"") else (value - 32) / 1.8 if letter == b"F" else NAN]
    bad = (kind == "VHW" and letter != b"T") or (kind == "THS" and letter in (b"V", b"E", b"M", b"S"))
    if bad or not 0 <= value <= 360:
        return [NAN]
    if kind == "HDG":
        turn = signed(f[1], f[2])
        return [value + (turn if turn == turn else 0.0), signed(f[3], f[4])]
    return [value]


def values_of(kind, text):
    "The first five values of a record, NaN where not said."
    fields = (text.split(b",") + [b""] * 17)[:17]
    index = KINDS.index(kind)
    read = read_fix if index <= KINDS.index("ZDA") else read_depth if index <= KINDS.index("DBK") else read_other
    return (read(kind, fields) + [NAN] * 5)[:5]


def tag_time(text):
    "Time of a TAG block, NaN where its checksum or its time is wrong."
    body, star, digits = text.partition(b"*")
    if not star or not re.match(rb"[0-9A-Fa-f]{2}", digits) or int(digits[:2], 16) != reduce(int.__xor__, body, 0):
        return NAN
    seconds = NAN
    for part in body.split(b","):
        if part.startswith(b"c:"):
            seconds = number(part[2:])
    seconds = seconds / 1000 if seconds >= 1e11 else seconds
    return seconds if 315532800 <= seconds < 4102444800 else NAN


def sentences(data):
    "(line, text from the dollar sign on, TAG time, whether anything ends it) of a whole log."
    lines = re.split(rb"(\r\n|\r|\n)", data)
    for number_, (line, end) in enumerate(zip(lines[::2], [*lines[1::2], b""], strict=True), 1):
        tag, at = NAN, 0
        while found := PIECE.search(line, at):
            text, at = found[0], found.end()
            if text.startswith(b"\\"):
                tag = tag_time(text[1:-1])
            elif len(text) <= 1024:
                yield number_, text, tag, bool(end) or at < len(line)


def scan(data):
    "Records (line, address, state, values, TAG time) of a whole log; how many sentences and wrong checksums it has."
    found, total, wrong = [], 0, 0
    checked = {text[1:6] for text in _head_sentences(data)}
    for line, text, tag, ended in sentences(data):
        body, star, digits = text[1:].partition(b"*")
        match = SENTENCE.fullmatch(b"$" + body)
        if not match:
            continue
        right = bool(star) and bool(re.match(rb"[0-9A-Fa-f]{2}", digits)) and (
            int(digits[:2], 16) == reduce(int.__xor__, body, 0))
        total, wrong = total + 1, wrong + (bool(star) and not right)
        address = match[1]
        if address[2:].decode() not in KINDS:
            continue
        if right:
            checked.add(address)
        plain = ended and address not in checked and all(32 <= byte < 127 for byte in body)
        state = GOOD if right else BAD if star else BARE if plain else CUT
        values = values_of(address[2:].decode(), match[2]) if state in (GOOD, BARE) else [NAN] * 5
        found.append((line, address.decode(), state, values, tag))
    return found, total, wrong


def _head_sentences(data):
    "Those of the head whose checksum is right and that something ends."
    head = data[:HEAD]
    for _, text, _, ended in sentences(head):
        body, star, digits = text[1:].partition(b"*")
        written = int(digits[:2], 16) if star and ended and re.match(rb"[0-9A-Fa-f]{2}", digits) else -1
        if SENTENCE.fullmatch(b"$" + body) and written == reduce(int.__xor__, body, 0):
            yield text


def rows(records, depth, chief, gap_s):
    """(line, time, lon, lat, depth) of the sentences ``depth`` for a log of one talker whose times of day never run
    back: every row by looking for the anchors and the fixes around it."""
    anchors, fixes, asked, last, turns, spoken = [], [], [], None, 0, set()
    for index, (line, address, state, values, _) in enumerate(records):
        if address == depth:
            asked.append((index, line, values[0]))
        if state > BARE or KINDS.index(address[2:]) > KINDS.index("ZDA"):
            continue
        tod, lon, lat = values[0], values[2], values[3]
        turns += last is not None and tod < last - 43200
        last, t = tod, turns * 86400 + tod
        waiting = sum(row[0] > anchors[-1][0] for row in asked) if anchors else 0
        if not anchors or t > anchors[-1][1]:
            anchors.append((index, t))
            spoken = {address}
        elif address not in spoken and waiting <= 1:
            anchors.append((index, t))
        spoken.add(address)
        if lon == lon:
            fixes.append((anchors[-1][0], t, lon, lat, address == chief))
    told = _without_repeats(_chief_first(fixes, gap_s), gap_s)
    return [(line, *_placed(index, asked, anchors, told, gap_s), value) for index, line, value in asked]


def _chief_first(fixes, gap_s):
    "The chief fixes, and others where these lie more than ``gap_s`` apart; one a moment."
    kept = []
    for place, fix in enumerate(fixes):
        before = next((other[1] for other in reversed(fixes[:place]) if other[4]), None)
        behind = next((other[1] for other in fixes[place:] if other[4]), fixes[-1][1])
        if (fix[4] or before is None or behind - before > gap_s) and (not kept or fix[1] > kept[-1][1]):
            kept.append(fix)
    return [fix[:4] for fix in kept]


def _without_repeats(fixes, longest_s):
    "Fixes without those that repeat the place before them for no longer than ``longest_s`` until the boat goes on."
    kept, start = [], 0
    while start < len(fixes):
        end = start
        while end + 1 < len(fixes) and fixes[end + 1][2:] == fixes[start][2:]:
            end += 1
        until = fixes[end + 1][1] if end + 1 < len(fixes) else math.inf
        kept += fixes[start : start + 1] if until - fixes[start][1] <= longest_s else fixes[start : end + 1]
        start = end + 1
    return kept


def _placed(index, asked, anchors, fixes, gap_s):
    "Time, lon, lat of one row that lies between two anchors and two fixes; None for rows at the ends."
    left = [anchor for anchor in anchors if anchor[0] < index]
    right = [anchor for anchor in anchors if anchor[0] > index]
    before, behind = [fix for fix in fixes if fix[0] < index], [fix for fix in fixes if fix[0] > index]
    if not (left and right and before and behind):
        return None, None, None
    among = [row[0] for row in asked if left[-1][0] < row[0] < right[0][0]]
    t = left[-1][1] + (right[0][1] - left[-1][1]) * (among.index(index) + 0.5) / len(among)
    (_, t0, lon0, lat0), (_, t1, lon1, lat1) = before[-1], behind[0]
    if t1 - t0 > gap_s and t not in (t0, t1):
        return t, NAN, NAN
    share = (t - t0) / (t1 - t0)
    return t, lon0 + (lon1 - lon0) * share, lat0 + (lat1 - lat0) * share
