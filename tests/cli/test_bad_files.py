"""Files that are not what they seem, among good ones and alone: one line each, and the good ones go on."""

from __future__ import annotations

import gzip
import io
import json
import re
import zipfile

import pytest

from lakemap.cli.main import run

ROWS = "time,lat,lon,depth_m\n" + "".join(
    f"2025-06-01T10:{i // 60:02d}:{i % 60:02d}Z,{46.8 + 1e-5 * i:.6f},-100.3,{4 + i % 7 / 10}\n" for i in range(300))


def zipped(members):
    "The bytes of a zip."
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


BAD = {
    "an archive in an archive": ("o.zip", zipped({"in.zip": zipped({"a.csv": ROWS})}), r"in\.zip.*in an archive"),
    "a truncated archive": ("t.csv.gz", gzip.compress(ROWS.encode())[:-30], r"t\.csv\.gz.*cut off.*copy it again"),
    "half a zip": ("h.zip", zipped({"a.csv": ROWS})[:700], r"h\.zip.*cut off"),
    "a picture called a log": ("p.nmea", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, r"p\.nmea"),
    "words called a Shapefile": ("w.shp", b"no shapes at all here\n", r"w\.shp"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_one_line_and_the_others_go_on(case, tmp_path, capsys):
    "Alone it ends the command with status 1; beside a good one in a folder it is a message."
    name, content, words = BAD[case]
    (tmp_path / name).write_bytes(content)
    assert run(["check", str(tmp_path / name)]) == 1
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and re.search(words, err), err
    (tmp_path / "good.csv").write_text(ROWS)
    assert run(["check", str(tmp_path), "--json"]) == 0
    head = json.loads(capsys.readouterr().out)
    assert [log["name"] for log in head["logs"]] == ["good.csv"]
    assert any(re.search(words, text) for text in head["messages"]), head["messages"]


def test_the_wrong_extension_does_not_matter(tmp_path, capsys):
    "A packed table called a picture, and one called a GeoPackage, are what they hold."
    (tmp_path / "a.png").write_bytes(gzip.compress(ROWS.encode()))
    (tmp_path / "b.gpkg").write_text(ROWS.replace(",4.", ",5."))
    assert run(["check", str(tmp_path), "--json"]) == 0
    assert [log["rows_in"] for log in json.loads(capsys.readouterr().out)["logs"]] == [300, 300]
