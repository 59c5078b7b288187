"""One or more whole small files for each reader, by the reader's name; whoever adds a reader adds its sample."""

from __future__ import annotations

import io
import json

import geopandas
import numpy as np
import pyarrow
import pyarrow.parquet
import shapely
from log_lines import dbt, rmc, sentence

TIMES = [f"2025-06-01T10:00:0{i}Z" for i in range(6)]
LAT, LON = [46.8 + 1e-5 * i for i in range(6)], [-100.3 + 1e-5 * i for i in range(6)]
DEPTHS = [4.5, 4.6, 4.8, 5.1, 5.0, 4.9]

ROWS = list(zip(TIMES, LAT, LON, DEPTHS, strict=True))
NMEA = "".join(
    rmc(f"12000{i}", f"4807.000{i}") + dbt(4 + i / 10) + sentence(f"SDDPT,{4 + i / 10},0.4") for i in range(6))
NMEA += sentence("GPZDA,120006,01,06,2025,00,00") + sentence("IIMTW,18.5,C") + sentence("HEHDT,84.1,T") + rmc("120007")
TABLE = "time,lat,lon,depth_m,second_bottom_m,water_temperature\n" + "".join(
    f"{t},{lat},{lon},{depth},{2 * depth},18.5\n" for t, lat, lon, depth in ROWS)
GERMAN = "Datum;Uhrzeit;lat;lon;depth (ft)\n" + "".join(
    f"1.6.2025;10:00:0{i};{LAT[i]};{LON[i]};{4 + i}.5\n".replace(".", ",").replace("1,6,2025", "1.6.2025")
    for i in range(6))
GPX = ('<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>')
TRACK = GPX.format("<trk><trkseg>" + "".join(
    f'<trkpt lat="{lat}" lon="{lon}"><time>{t}</time><extensions><depth>{depth}</depth></extensions></trkpt>'
    for t, lat, lon, depth in ROWS) + "</trkseg></trk>")
WAYPOINTS = GPX.format('<wpt lat="46.8" lon="-100.3"><time>2025-06-01T10:00:00Z</time><name>Rock 1</name></wpt>'
                       '<wpt lat="46.81" lon="-100.3"><name>A</name><sym>stump</sym><cmt>by the dock</cmt></wpt>')
MARKS = "lat,lon,kind,name,note,time\n46.8,-100.3,stump,A,by the dock,2025-06-01T10:00:00Z\n46.81,-100.3,rock,B,,\n"
NOTES = "time,note\n2025-06-01T10:00:03Z,second bottom strong\n2025-06-01T10:00:04Z,stump on the left\n"
SHORE = {"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"name": "Lake"}, "geometry": {"type": "Polygon", "coordinates": [
        [[-100.4, 46.7], [-100.2, 46.7], [-100.2, 46.9], [-100.4, 46.9], [-100.4, 46.7]],
        [[-100.31, 46.81], [-100.31, 46.82], [-100.30, 46.82], [-100.31, 46.81]]]}}]}
B12 = {"type": "FeatureCollection", "crs": {"horizontal": {"type": "EPSG", "value": 4326}, "vertical": "Transducer"},
       "properties": {"convention": "GeoJSON CSB 3.0", "platform": {"uniqueID": "NODE-1234"}}, "features": [
           {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]},
            "properties": {"depth": depth, "time": t}} for t, lat, lon, depth in ROWS]}
B12_TABLE = "UNIQUE_ID,FILE_UUID,LON,LAT,DEPTH,TIME,PLATFORM_NAME,PROVIDER\n" + "".join(
    f"A-1,1,{lon},{lat},{depth},{t},Boat,Node\n" for t, lat, lon, depth in ROWS)
BOAT = '[[sounder]]\nname = "main"\ndraft_m = 0.35\nbeam_deg = 9.0\nfrequency_khz = 200.0\n'
LEVELS = "time,level_m\n2025-06-01T00:00:00Z,0.12\n2025-06-02T00:00:00Z,0.10\n"
PROFILE = "depth_m,water_temperature,oxygen\n0,22.5,9\n5,20.1,8\n10,9.0,4\n"
CHECKS = "lat,lon,check_depth_m,time\n46.8,-100.3,4.5,2025-06-01T10:00:00Z\n46.801,-100.3,5.5,\n"
BOTTOM = "lat,lon,bottom,how\n46.8,-100.3,gravel,pole\n46.801,-100.3,mud,grab\n"
EDITS = "what,from,until,why\nbad,2025-06-01T10:00:00Z,2025-06-01T10:00:02Z,weed on the transducer\n"


def signalk():
    "Fixes and depths in turns."
    lines = []
    for i, time in enumerate(TIMES):
        values = [{"path": "navigation.position", "value": {"latitude": LAT[i], "longitude": LON[i]}},
                  {"path": "environment.depth.belowTransducer", "value": DEPTHS[i]},
                  {"path": "environment.water.temperature", "value": 291.65},
                  {"path": "navigation.headingTrue", "value": 1.5}]
        update = {"$source": "n2k.1", "timestamp": time, "values": values}
        lines.append(json.dumps({"context": "vessels.self", "updates": [update]}))
    return "\n".join(lines) + "\n"


def features(folder, suffix, **fields):
    "A vector file of points, or of one polygon where there are no fields."
    shapes = shapely.points(LON, LAT) if fields else [shapely.box(-100.4, 46.7, -100.2, 46.9)]
    path = folder / f"made{suffix}"
    geopandas.GeoDataFrame(fields, geometry=shapes, crs="EPSG:4326").to_file(path)
    content = path.read_bytes()
    for left in folder.glob("made.*"):
        left.unlink()
    return content


def parquet():
    "A table with its units in its headers."
    out = io.BytesIO()
    pyarrow.parquet.write_table(pyarrow.table({"time": TIMES, "lat": LAT, "lon": LON, "depth_m": DEPTHS}), out)
    return out.getvalue()


CATCHES = ("time,lat,lon,kind,count,effort_h,note\n2025-06-01T08:00:00Z,45.01,-93.02,bass,2,1.5,on the stump\n"
           "2025-06-01T10:00:00Z,45.02,-93.01,,0,1,nothing\n")


def shapes(kind, **properties):
    "One shape as GeoJSON text."
    corners = [[15.0, 45.0], [15.01, 45.0], [15.01, 45.01], [15.0, 45.0]]
    places = {"Point": corners[0], "LineString": corners[:2], "Polygon": [corners]}[kind]
    feature = {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": places}}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def raster():
    "A GeoTIFF of depths, made in memory."
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    with MemoryFile() as memory:
        with memory.open(driver="GTiff", width=4, height=3, count=1, dtype="float32", crs="EPSG:32633",
                         transform=from_origin(500_000, 5_000_000, 10, 10)) as band:
            band.write(np.arange(12, dtype=np.float32).reshape(1, 3, 4))
            band.update_tags(UNITS="m", POSITIVE="down")
        return bytes(memory.read())


def text_samples():
    "Formats read without a library, by the name of their reader."
    deep = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"depth_m": depth, "time": t},
         "geometry": {"type": "Point", "coordinates": [lon, lat]}}
        for t, lat, lon, depth in ROWS]}
    seen = json.loads(json.dumps(deep).replace('"depth_m"', '"kind"'))
    made = {
        "NMEA 0183 log": [NMEA], "table of soundings": [TABLE, GERMAN], "GPX track": [TRACK],
        "GPX waypoints": [WAYPOINTS], "table of marks": [MARKS], "table of notes": [NOTES],
        "shoreline polygons": [json.dumps(SHORE)], "Signal K log": [signalk()],
        "points with depths": [json.dumps(deep)], "points as marks": [json.dumps(seen)],
        "IHO B-12": [json.dumps(B12), B12_TABLE], "boat.toml": [BOAT],
        "table of lake levels": [LEVELS], "table of water temperatures by depth": [PROFILE],
        "table of check depths": [CHECKS], "table of bottom samples": [BOTTOM], "catch log": [CATCHES],
        "the owner's edits": [EDITS], "contours of an old map": [shapes("LineString", depth_m=4.0)],
        "dangers": [shapes("Point", keep_m=20)],
        "closed areas": [shapes("Polygon", closed_from="04-01", closed_until="06-15")],
    }
    return {name: [text.encode() for text in texts] for name, texts in made.items()}


def binary_samples(folder):
    "Formats that a library reads."
    return {
        "shoreline polygons": [features(folder, suffix) for suffix in (".gpkg", ".fgb")],
        "points with depths": [features(folder, suffix, depth_m=DEPTHS) for suffix in (".gpkg", ".fgb")],
        "points as marks": [features(folder, suffix, kind=["rock"] * 6) for suffix in (".gpkg", ".fgb")],
        "Parquet table": [parquet()], "raster of an old map": [raster()],
    }
