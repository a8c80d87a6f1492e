"""Readers of what the library writes, from outside it: CSV as a spreadsheet and as pandas, Markdown, HTML."""

from __future__ import annotations

import csv
import html.parser
import io

import pandas as pd
from markdown_it import MarkdownIt

_MARKDOWN = MarkdownIt("commonmark").enable(["table", "strikethrough"])

MARKUP = {"div", "style", "table", "thead", "tbody", "tr", "th", "td", "details", "summary"}
"""What the package writes around its texts: one frame with its style sheet, tables, folds."""


def spreadsheet_rows(text):
    """Every line of a CSV, comments too, as a spreadsheet breaks it into cells."""
    return list(csv.reader(io.StringIO(text), strict=True))


def pandas_rows(text):
    """Head and rows of a CSV as pandas reads them, every cell as text."""
    frame = pd.read_csv(io.StringIO(text), comment="#", dtype=str, keep_default_na=False)
    return [list(frame.columns), *frame.to_numpy().tolist()]


def markdown_rows(text):
    """Cells of the table in a Markdown text, row by row; an error where any text turns into markup."""
    rows, inside = [], False
    for token in _MARKDOWN.parse(text):
        if token.type == "tr_open":
            rows.append([])
        inside = token.type in ("th_open", "td_open") if token.nesting == 1 else inside and token.nesting == 0
        assert token.type not in ("html_block", "code_block", "fence", "heading_open"), token
        if token.type == "inline":
            assert {part.type for part in token.children} <= {"text"}, token.content
            if inside:
                rows[-1].append("".join(part.content for part in token.children).strip())
    return rows


class _Cells(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.rows, self.tags, self.inside = [], set(), False

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag == "tr":
            self.rows.append([])
        self.inside = tag in ("td", "th")
        if self.inside:
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data):
        if self.inside:
            self.rows[-1][-1] += data


def html_rows(text):
    """Cells of the table in an HTML text, row by row; an error where any text turns into markup."""
    parser = _Cells()
    parser.feed(text)
    parser.close()
    assert parser.tags <= MARKUP
    return parser.rows
