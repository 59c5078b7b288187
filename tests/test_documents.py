"""The documents are tested: README's example runs, its tables are the code's, DEVELOPERS.md knows every module."""

from __future__ import annotations

import re
from pathlib import Path

import lakemap
from lakemap.model.columns import LOG_COLUMNS
from lakemap.model.outputs import ALL, CAUTION

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def test_the_python_example_runs_as_printed(monkeypatch, capsys):
    "README's Python block, from the repository's folder, prints one line about the first spot."
    monkeypatch.chdir(ROOT)
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    exec(compile(code, "README.md", "exec"), {})
    assert re.search(r"\d+\.\d m at the deepest; first spot: \S+, seen by \d+ of \d+ passes", capsys.readouterr().out)


def test_every_column_of_a_table_stands_in_the_readme():
    "Name and meaning, as in the code."
    for column in LOG_COLUMNS:
        assert re.search(rf"^\| `{column.name}` \|.*{re.escape(column.meaning)}", README, re.MULTILINE), column.name


def test_every_output_stands_in_the_readme():
    "Each file by its whole name, waypoints by their endings."
    for name in ALL:
        assert name in README or name.removeprefix("waypoints") in README, name


def test_every_module_has_its_row():
    "DEVELOPERS.md's table names each module that has code."
    for path in sorted((ROOT / "lakemap").rglob("*.py")):
        if path.read_text().strip():
            assert f"| `{path.relative_to(ROOT / 'lakemap')}` |" in DEVELOPERS, path


def test_the_caution_is_said_where_people_start():
    "README says what map.html says: first that it is not for navigation."
    assert CAUTION.split(".")[0] in README


def test_public_names_are_few_and_there():
    "Exactly the names promised, each of them importable."
    assert set(lakemap.__all__) - {"__version__"} == {
        "Lake", "LakeMap", "map_lake", "publish", "Soundings", "Grid", "Surface", "Spots", "LakemapError"}
    assert all(getattr(lakemap, name) is not None for name in lakemap.__all__)
