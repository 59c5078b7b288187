"""Names of the files that publish/ writes and read/ reads back."""

MAP, REPORT, SUMMARY = "map.html", "report.html", "summary.json"
DEPTH, DEPTH_SIGMA, SLOPE = "depth.tif", "depth_sigma.tif", "slope.tif"
HARDNESS, HARDNESS_SIGMA = "hardness.tif", "hardness_sigma.tif"
BOTTOM_CLASSES = "bottom_classes.tif"
WATER_TEMPERATURE, WATER_TEMPERATURE_SIGMA = "water_temperature.tif", "water_temperature_sigma.tif"
WEED_HEIGHT, CHANGED = "weed_height.tif", "changed.tif"
LAKE, SPOTS, SOUNDINGS = "lake.gpkg", "spots.geojson", "soundings.parquet"
WAYPOINTS_GPX, WAYPOINTS_CSV, WAYPOINTS_KML = "waypoints.gpx", "waypoints.csv", "waypoints.kml"
TABLE = "depth_area_volume.csv"

ALL = (
    MAP, DEPTH, DEPTH_SIGMA, HARDNESS, HARDNESS_SIGMA, BOTTOM_CLASSES, SLOPE, WATER_TEMPERATURE,
    WATER_TEMPERATURE_SIGMA, WEED_HEIGHT, CHANGED, LAKE, SPOTS, WAYPOINTS_GPX, WAYPOINTS_CSV, WAYPOINTS_KML,
    SOUNDINGS, TABLE, REPORT, SUMMARY,
)

FORMAT = 1
"""Version of the layout of summary.json and of the names above."""

CAUTION = (
    "Not for navigation. Depths come from passes of a small boat and change with the water level; shallow water, "
    "weather, ice, closed areas, local rules and licensed practice come first."
)
"""Said once on each page and file that people take on the water."""
