"""Small files for the readers: NMEA sentences with their checksum, and a Source from any content."""

from __future__ import annotations

from functools import reduce

from lakemap.read.source import Source


def sentence(body, end="\r\n", checksum=True):
    "``$body*hh`` and a line end; the checksum is the XOR of the body's characters, computed one by one."
    total = reduce(lambda a, b: a ^ b, body.encode(), 0)
    return f"${body}" + (f"*{total:02X}" if checksum else "") + end


def rmc(clock, lat="4807.0000", lon="01131.0000", date="010625", status="A", course="084.4", **how):
    "An RMC sentence north of the equator and east of Greenwich."
    return sentence(f"GPRMC,{clock},{status},{lat},N,{lon},E,004.2,{course},{date},,,A", **how)


def dbt(depth_m, talker="SD", **how):
    "A DBT sentence in metres."
    return sentence(f"{talker}DBT,,f,{depth_m},M,,F", **how)


def source_of(folder, content, name="a.nmea"):
    "A file with this content (text or bytes), as readers get it."
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return Source.of(path)
