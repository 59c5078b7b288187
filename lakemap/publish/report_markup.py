"""The report's page: plain HTML that runs nothing and asks for nothing."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from lakemap.publish.wording import printable

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

_STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 62rem; padding: 1rem; background: #fff; color: #1d2529;
  font: 1rem/1.5 system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.25; margin: 0.5rem 0; }
h2 { font-size: 1.2rem; margin: 2rem 0 0.5rem; border-bottom: 1px solid #b8c4c9; }
p.caution { border-left: 0.3rem solid #30515e; background: #eef3f5; margin: 1rem 0; padding: 0.6rem 0.8rem; }
div.wide { overflow-x: auto; }
div.wide:focus-visible { outline: 3px solid #30515e; }
table { border-collapse: collapse; font-size: 0.92rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; color: #4a5960; padding: 0.2rem 0; }
th, td { padding: 0.25rem 0.9rem 0.25rem 0; text-align: left; vertical-align: top;
  border-bottom: 1px solid #dde4e7; }
thead th { border-bottom: 1px solid #6c7d85; }
td.number, th.number { text-align: right; }
td.number { white-space: nowrap; }
thead th { vertical-align: bottom; }
td.long { min-width: 22rem; }
td.text { min-width: 6rem; }
@media (max-width: 40rem) {
  table.stack :is(thead, tbody, tr, td, caption) { display: block; }
  table.stack thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  table.stack tr { padding: 0.5rem 0; border-bottom: 1px solid #6c7d85; }
  table.stack td { min-width: 0; padding: 0.1rem 0; border: 0; text-align: left; white-space: normal; }
  table.stack td::before { content: attr(data-head) ": "; color: #4a5960; }
}
figure { margin: 1rem 0; }
div.beside { display: flex; flex-wrap: wrap; gap: 0 1rem; }
div.beside figure { max-width: 19.2rem; }
figure svg { max-width: 100%; height: auto; max-height: 85vh; }
figcaption { color: #4a5960; font-size: 0.92rem; }
ul { padding-left: 1.2rem; }
ul.fine { columns: 18rem; font-size: 0.85rem; }
@media print { body { max-width: none; } figure, tr { break-inside: avoid; } }
"""


LONG_TEXT = 40
"""Characters beyond which a column of text would be squeezed."""


_WAY = {"number": "", "long": ' dir="auto"', "text": ' dir="auto"'}
"""Words in a cell run the way that their own letters do."""


def escape(text: object) -> str:
    """Any text as HTML text; nothing in it is markup."""
    return html.escape(printable(str(text)))


def page(title: str, sections: Iterable[str]) -> str:
    """A whole page: no script, and a policy that lets none run and nothing load."""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(title)}</h1>\n" + "\n".join(part for part in sections if part) + "\n</main>\n</body>\n</html>\n"
    )


def section(title: str, *parts: str) -> str:
    """A heading with what belongs under it; nothing at all where there is nothing."""
    said = [part for part in parts if part]
    return "\n".join([f"<h2>{escape(title)}</h2>", *said]) if said else ""


def paragraph(text: str, kind: str = "") -> str:
    """One paragraph of plain text; nothing where there is none."""
    if not text:
        return ""
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def bullets(texts: Sequence[str], kind: str = "") -> str:
    """Plain texts as a list; nothing where there are none."""
    opening = f'<ul class="{kind}">\n' if kind else "<ul>\n"
    return opening + "\n".join(f'<li dir="auto">{escape(text)}</li>' for text in texts) + "\n</ul>" if texts else ""


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[object]], words: Sequence[str]) -> str:
    """A table that scrolls by itself on a narrow screen; columns named in ``words`` hold text, the others numbers.

    Columns whose text runs long get room for it, and on a narrow screen the rows of such a table become blocks, each
    value behind its column's name. Nothing where there are no rows.
    """
    if not rows:
        return ""
    longest = [max(len(str(row[i])) for row in rows) for i in range(len(heads))]
    kinds = [
        "number" if head not in words else "long" if size > LONG_TEXT else "text"
        for head, size in zip(heads, longest, strict=True)
    ]
    top = "".join(f'<th class="{kind}" scope="col"{_role("columnheader", kinds)}>{escape(h)}</th>'
                  for h, kind in zip(heads, kinds, strict=True))
    body = "\n".join(_row(row, heads, kinds) for row in rows)
    stack = f' class="stack"{_role("table", kinds)}' if "long" in kinds else ""
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}">\n<table{stack}>\n'
        f"<caption>{escape(caption)}</caption>\n<thead><tr{_role('row', kinds)}>{top}</tr></thead>\n"
        f"<tbody>\n{body}\n</tbody>\n</table>\n</div>"
    )


def _row(row: Sequence[object], heads: Sequence[str], kinds: Sequence[str]) -> str:
    behind = _role("cell", kinds)
    cells = [f'<td class="{kind}"{_WAY[kind]}{behind}' + (f' data-head="{escape(head)}"' if behind else "")
             + f">{escape(cell)}</td>" for cell, head, kind in zip(row, heads, kinds, strict=True)]
    return f"<tr{_role('row', kinds)}>" + "".join(cells) + "</tr>"


def _role(name: str, kinds: Sequence[str]) -> str:
    """Rows drawn as blocks are no table to a screen reader unless they say so."""
    return f' role="{name}"' if "long" in kinds else ""


def beside(figures: Iterable[str]) -> str:
    """Figures next to each other as far as the screen is wide enough; nothing where there are none."""
    there = [one for one in figures if one]
    return '<div class="beside">\n' + "\n".join(there) + "\n</div>" if there else ""


def figure(svg: str, says: str) -> str:
    """A drawing with its caption, which is also what a screen reader says; nothing where there is no drawing."""
    if not svg:
        return ""
    named = svg.replace("<svg ", f'<svg role="img" aria-label="{escape(says)}" ', 1)
    return f"<figure>\n{named}\n<figcaption>{escape(says)}</figcaption>\n</figure>"
