"""Tables as text: CSV that no spreadsheet runs as a formula, and Markdown that no cell can break."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from charprobe.values.wording import literal

Row = Sequence[str | int | float | None]
FORMULA_STARTS = ("=", "+", "-", "@")


def csv_text(header: Sequence[str], rows: Sequence[Row]) -> str:
    """Return a UTF-8 CSV with a byte-order mark, so that spreadsheets read accents; missing cells stay empty.

    Numbers keep the decimal point; text that a spreadsheet would run gets a leading apostrophe.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([_csv_cell(cell) for cell in header])
    writer.writerows([_csv_cell(cell) for cell in row] for row in rows)
    return "\ufeff" + stream.getvalue()


def markdown_table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table; every cell is shown literally."""
    lines = [[markdown(cell) for cell in row] for row in (header, *rows)]
    lines.insert(1, ["---"] * len(header))
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def markdown(text: str) -> str:
    """Return a text that Markdown shows literally."""
    return re.sub(r"([\\`*_{}\[\]<>#|$~&])", r"\\\1", literal(text))


def _csv_cell(cell: str | int | float | None) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        shown = literal(cell)
        return f"'{shown}" if shown.lstrip().startswith(FORMULA_STARTS) else shown
    return repr(cell)
