"""Tables as text: delimiter, header and cells, before anything is known of what they mean."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import AnyStr

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lakemap.errors import InputError

DELIMITERS = ("\t", ";", ",")
MOST_COLUMNS = 1000
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
NUMBER_PATTERN = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_FACT = re.compile(r"#\s*(\w+)\s*[:=]\s*(\S+)\s*$")


@dataclass(frozen=True)
class Table:
    """``cells`` one text column a header, n rows; ``line`` (n,) in the file, from 1; ``facts`` from lines such as
    ``# frequency_khz: 200`` above the header, which stands in line ``header_line``."""

    headers: tuple[str, ...]
    cells: tuple[pd.Series[str], ...]
    line: NDArray[np.int64]
    delimiter: str
    facts: Mapping[str, str] = field(default_factory=dict)
    header_line: int = 1


def split_table(text: str, name: str) -> Table:
    """Header and cells of a delimited table. Raises InputError where there is none, or no row below its header."""
    text = unix_lines(text).replace("\0", "")
    skipped, header, rest = _header_line(text)
    delimiter = max(DELIMITERS, key=header.count)
    headers = tuple(next(csv.reader([header], delimiter=delimiter), []))
    if len(headers) < 2 or len(headers) > MOST_COLUMNS:
        raise InputError(f"{name}: no table with columns in it; separate them with comma, semicolon or tab")
    if all(_NUMBER.fullmatch(cell.strip()) for cell in headers):
        raise InputError(f"{name}: no header line; write one above the numbers, such as time,lat,lon,depth_m")
    cells = _cells(rest, delimiter, len(headers), name)
    filled = (cells != "").any(axis=1).to_numpy()
    if not filled.any():
        raise InputError(f"{name}: a header but no rows below it")
    facts = {found[1]: found[2] for line in skipped if (found := _FACT.match(line))}
    line = np.arange(len(cells), dtype=np.int64) + len(skipped) + 2
    columns = tuple(cells[i][filled].reset_index(drop=True) for i in range(len(headers)))
    return Table(tuple(text.strip() for text in headers), columns, line[filled], delimiter, facts, len(skipped) + 1)


def unix_lines(text: AnyStr) -> AnyStr:
    """Text or bytes whose lines end with a line feed, whatever they ended with."""
    if isinstance(text, bytes):
        return text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _header_line(text: str) -> tuple[list[str], str, str]:
    """Blank and comment lines above the header, the header, and all below it."""
    skipped: list[str] = []
    while text:
        line, _, text = text.partition("\n")
        if line.strip() and not line.lstrip().startswith("#"):
            return skipped, line, text
        skipped.append(line.strip())
    return skipped, "", ""


def _cells(text: str, delimiter: str, width: int, name: str) -> pd.DataFrame:
    """Rows as text, short ones filled up and long ones cut to ``width``; an unclosed quote is taken as a letter."""
    if not text.strip():
        return pd.DataFrame({i: pd.Series([], dtype=str) for i in range(width)})
    widest = max(width, max(line.count(delimiter) for line in text.split("\n")) + 1)
    if widest > MOST_COLUMNS:
        raise InputError(f"{name}: a line with {widest} columns; a table may have {MOST_COLUMNS}")
    for quoting in (csv.QUOTE_MINIMAL, csv.QUOTE_NONE):
        try:
            frame = pd.read_csv(
                io.StringIO(text), sep=delimiter, header=None, names=list(range(widest)), dtype=str, quoting=quoting,
                keep_default_na=False, skip_blank_lines=False, index_col=False,
            ).iloc[:, :width]
        except (ValueError, pd.errors.ParserError, OverflowError):
            continue
        return pd.DataFrame({index: column.fillna("").str.strip() for index, column in frame.items()})
    raise InputError(f"{name}: cannot be split into columns; save it again as CSV")


def numbers(cells: pd.Series[str], name: str, header: str) -> NDArray[np.float64]:
    """Cells as numbers, NaN where there is none; a decimal comma is understood where the whole column has it.

    Raises InputError for a column that writes both 1,5 and 1.5: which of them means what cannot be known.
    """
    comma = cells.str.contains(",", regex=False)
    if comma.any():
        if (cells.str.contains(".", regex=False) & (cells.str.fullmatch(r"[-+\d.,]+"))).any():
            raise InputError(f"{name}: column {header!r} has numbers with both comma and point; write one decimal mark")
        cells = cells.str.replace(",", ".", regex=False)
    good = cells.str.fullmatch(NUMBER_PATTERN).to_numpy(dtype=bool)
    values = pd.to_numeric(cells.where(good, "nan"), errors="coerce").to_numpy(dtype=np.float64, copy=True)
    values[~np.isfinite(values)] = np.nan
    return values
