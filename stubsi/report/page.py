"""Owns the page of the report: its frame and the parts it is made of. Nothing in it comes from elsewhere."""

from __future__ import annotations

import html
from importlib import resources
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import one_line
from stubsi.errors import StubsiError
from stubsi.show.inline_svg import inline_svg

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stubsi.show.inline_svg import Draw

POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
"""What the page may load: nothing. A browser that keeps to it sends no request, whatever a name contains."""


class Section(NamedTuple):
    """A part of the report.

    Parameters
    ----------
    anchor : str
        Its address within the page.
    title : str
    body : str
        HTML.
    """

    anchor: str
    title: str
    body: str


def escaped(text: str) -> str:
    """Text as HTML, on one line.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    return html.escape(one_line(text))


def listed(lines: Iterable[str]) -> str:
    """Lines as an HTML list; empty where there are none.

    Parameters
    ----------
    lines : iterable of str

    Returns
    -------
    str
    """
    items = "".join(f"<li>{escaped(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def folded(title: str, body: str) -> str:
    """HTML that a reader unfolds.

    Parameters
    ----------
    title : str
    body : str

    Returns
    -------
    str
    """
    return f"<details><summary>{escaped(title)}</summary>{body}</details>"


def scrolled(name: str, body: str) -> str:
    """HTML that scrolls by itself where it is wider than the page; it can be reached by keyboard.

    Parameters
    ----------
    name : str
        What it is, for those who do not see it.
    body : str

    Returns
    -------
    str
    """
    return f'<div class="scroll" role="region" tabindex="0" aria-label="{escaped(name)}">{body}</div>'


def picture(name: str, caption: str, draw: Draw) -> str:
    """A plot as inline SVG with its caption; a note in its place where it cannot be drawn.

    Parameters
    ----------
    name : str
        What is shown, in a few words; no two pictures of a page have the same.
    caption : str
        How to read it.
    draw : callable
        Draws the plot and gives its axes.

    Returns
    -------
    str
    """
    try:
        drawn = inline_svg(draw(), name)
    except StubsiError as error:
        return f'<p class="soft">{escaped(name)}: no picture. {escaped(str(error))}</p>'
    return f"<figure>{scrolled(name, drawn)}<figcaption>{escaped(caption)}</figcaption></figure>"


def page(title: str, below: Sequence[str], sections: Sequence[Section], foot: Sequence[str]) -> str:
    """The whole page.

    Parameters
    ----------
    title : str
    below : sequence of str
        Lines below the title.
    sections : sequence of Section
    foot : sequence of str
        Lines at the end; the last one stands out.

    Returns
    -------
    str
    """
    style, script = (_packaged(f"page.{kind}") for kind in ("css", "js"))
    links = "".join(f'<li><a href="#{each.anchor}">{escaped(each.title)}</a></li>' for each in sections)
    body = "\n".join(
        f'<section id="{each.anchor}" aria-labelledby="{each.anchor}-title">'
        f'<h2 id="{each.anchor}-title">{escaped(each.title)}</h2>\n{each.body}</section>'
        for each in sections
    )
    lead = "".join(f'<p class="soft">{escaped(line)}</p>' for line in below)
    ends = "".join(f"<p>{escaped(line)}</p>" for line in foot[:-1])
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<link rel="icon" href="data:,">\n'
        f"<title>{escaped(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n"
        f"<header><h1>{escaped(title)}</h1>{lead}"
        f'<nav aria-label="Parts of this report"><ul>{links}</ul></nav></header>\n<main>\n{body}\n</main>\n'
        f'<footer>{ends}<p class="caution">{escaped(foot[-1])}</p></footer>\n'
        f"<script>\n{script}</script>\n</body>\n</html>\n"
    )


def _packaged(name: str) -> str:
    return resources.files("stubsi.report").joinpath(name).read_text(encoding="utf-8")
