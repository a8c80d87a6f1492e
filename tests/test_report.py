"""The report: one file with every number of the plan in it, that loads nothing, and can be used in a real browser."""

from __future__ import annotations

import copy
import html
import html.parser
import json
import re
import shutil
import subprocess
from dataclasses import replace
from unittest import mock

import matplotlib as mpl
import pytest

import stubsi
from stubsi import (
    Board,
    Criterion,
    FileError,
    StubsiError,
    Tolerance,
    Tolerances,
    Verdict,
    corners,
    coupons,
    drilled_yield,
    hand_off_check,
    plan,
    rank,
    write_report,
)  # fmt: skip
from stubsi.handoff.acceptance import passes_if
from stubsi.provenance import BY_TOLERANCES
from stubsi.report.decision import plan_decision
from stubsi.report.for_fabricator import for_fabricator
from stubsi.report.net_table import _breakable
from tests import drilling_boards as made
from tests import margin_boards as mb

EVIL = "<b onclick=alert(1)>\"A'&$x$"
SAYS = "made up for the test"
CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
VOID = {"meta", "link", "input", "br", "wbr"}


class Page(html.parser.HTMLParser):
    """Tags with their attributes, and text; every tag that is opened is closed."""

    def __init__(self, text):
        super().__init__()
        self.found, self.text, self.open, self.hidden = [], "", [], 0
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.text += data + " "

    def all(self, tag):
        return [attributes for name, attributes in self.found if name == tag]


@pytest.fixture(scope="module", autouse=True)
def agg():
    mpl.use("Agg")


@pytest.fixture(scope="module")
def drilled():
    """Two nets that are drilled, one that cannot be, one that passes; a name that is markup."""
    nets = (
        made.net(EVIL, ("L1", "L2"), 0.4),
        made.net("B", ("L1", "L3"), 0.4),
        made.net("C", ("L1", "L6"), 0.4),
        made.net("D", ("L4", "L6"), 0.2),
    )
    holes = [net.replaced(holes=[net.holes[0].replaced(x=f"{n} mm", y="0 mm")]) for n, net in enumerate(nets)]
    board = Board(stackup=made.stackup((0.25,) * 5), nets=holes, name=EVIL)
    return plan(board, made.rules(sides={"bottom": "any"}), model="uniform", dk_eff=4)


@pytest.fixture(scope="module")
def spread(drilled):
    tolerances = Tolerances(dielectric_thickness=Tolerance.plus_minus("10 %", source=SAYS))
    return corners(drilled.board, tolerances, dk_eff=4)


@pytest.fixture(scope="module")
def text(drilled, spread, tmp_path_factory):
    """The report without its pictures, which take most of the time."""

    def named(name, caption, _):
        return f"<p>{html.escape(name)}: {caption}</p>"

    with (
        mock.patch("stubsi.report.board_report.picture", named),
        mock.patch("stubsi.report.pictures.picture", named),
    ):
        path = write_report(drilled, tmp_path_factory.mktemp("report") / "board.html", tolerances=spread)
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def whole(drilled, spread, tmp_path_factory):
    """The report with its pictures."""
    path = write_report(drilled, tmp_path_factory.mktemp("report") / "board.html", tolerances=spread)
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def seen(text):
    return Page(text)


def test_the_report_holds_the_plan(seen, drilled):
    for words in (
        EVIL,
        drilled.digest,
        "confirm with the fabricator",
        *map(str, drilled.limits.ranking.criteria),
        SAYS,
    ):
        assert " ".join(words.split()) in " ".join(seen.text.split())
    for group in drilled.groups:
        assert f"Group {group.number}: {len(group.hits)} hole" in seen.text
        assert f"must not cut {group.layer}" in seen.text
    for hit in drilled.hits:
        assert hit.hole.name in seen.text
    for net in drilled.consequences().nets:
        assert net.why in seen.text


def test_the_report_holds_coupons_and_what_the_hand_off_lacks(seen, drilled):
    said = " ".join(seen.text.split())
    assert len(coupons(drilled)) == len(drilled.groups) == 2
    for coupon in coupons(drilled):
        assert passes_if(coupon) in said
    assert "nothing is missing" in said
    rules = drilled.rules.replaced(hole_clearance=None)
    asked = Page(f"<p>{for_fabricator(plan(drilled.board, rules, model='uniform', dk_eff=4))}</p>").text
    assert "nothing is missing" not in asked
    missing = hand_off_check(plan(drilled.board, rules, model="uniform", dk_eff=4)).missing
    assert len(missing) > 0
    for statement in missing:
        assert str(statement) in asked


def test_the_decision_names_what_stays_open_after_drilling(drilled):
    """A net that is drilled and then undecided, and one within the uncertainty of the model, are no quiet passes."""
    consequences = drilled.consequences()
    verdicts = iter((Verdict.UNDECIDED, Verdict.MARGINAL))
    nets = [replace(net, verdict=(*net.verdict[:2], next(verdicts, net.verdict[2]))) for net in consequences.nets]
    changed = copy.copy(consequences)
    vars(changed)["nets"] = tuple(nets)
    text = Page(f"<p>{plan_decision(drilled, changed)}</p>").text
    assert f"{nets[0].net}: undecided after drilling" in text
    assert f"1 net within the uncertainty of the model, which a measured coupon would decide: {nets[1].net}" in text
    assert "undecided after drilling" not in Page(f"<p>{plan_decision(drilled, consequences)}</p>").text


def test_decision_comes_first_and_every_part_is_reached(seen):
    titles = [at["id"] for at in seen.all("section")]
    assert titles == ["decision", "margins", "pictures", "drilling", "fabricator", "tolerances", "grounds"]
    assert [at["href"] for at in seen.all("a")][: len(titles)] == [f"#{title}" for title in titles]


def test_the_table_has_a_row_for_every_net_with_what_it_is_sorted_by(text, drilled):
    table = text[text.index('<table id="nets">') :]
    table = table[: table.index("</table>")]
    rows = re.findall(r'<tr data-verdict="([^"]*)">(.*?)</tr>', table, re.DOTALL)
    nets = drilled.consequences().nets
    assert [verdict for verdict, _ in rows] == [str(net.verdict[2]) for net in nets]
    for (_, row), net in zip(rows, nets, strict=True):
        keys = re.findall(r'data-key="([^"]*)"', row)
        assert keys[0] == ("" if net.margin[2] is None else repr(net.margin[2]))


def test_a_long_name_can_be_broken_and_stays_whole():
    name = "LANE_" * 20 + "<b>"
    cell = _breakable(name)
    assert html.unescape(cell.replace("<wbr>", "")) == name
    assert max(map(len, re.sub("&[a-z]+;", "x", cell).split("<wbr>"))) <= 32
    assert _breakable("short & name") == "short &amp; name"


@pytest.mark.slow
def test_nothing_is_loaded_from_elsewhere(whole):
    """Addresses stand only where an XML name space is declared; the policy forbids the rest."""
    seen = Page(whole)
    addresses = re.sub(r'xmlns(:xlink)?="http://www\.w3\.org/[^"]*"', "", whole)
    assert not re.search(r"(https?:)?//[a-z]", addresses.replace("// The table", ""))
    (policy,) = [at["content"] for at in seen.all("meta") if at.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "url(" not in re.sub(r"url\(#[^)]*\)", "", whole)
    for at in seen.all("a"):
        assert at.get("href", "#").startswith("#")


@pytest.mark.slow
def test_pictures_are_inline_and_have_a_name_and_ids_of_their_own(whole):
    seen = Page(whole)
    names = [at["aria-label"] for at in seen.all("svg")]
    assert len(names) == len(set(names)) == 5
    clips = re.findall(r'<clipPath id="([^"]*)"', whole)
    assert len(clips) == len(set(clips))
    assert not seen.all("metadata")
    assert not seen.all("b")  # a name is text in a picture, too


@pytest.mark.slow
def test_the_same_plan_gives_the_same_file(whole, drilled, spread, tmp_path):
    again = write_report(drilled, tmp_path / "again.html", tolerances=spread)
    assert again.read_text(encoding="utf-8") == whole


@pytest.mark.slow
def test_a_ranking_has_a_report_without_drilling(tmp_path):
    net = mb.net("A", ("TOP", "S1"), signal="112 Gb/s PAM4", criterion=Criterion.notch_ratio(3, source=SAYS))
    ranking = rank(mb.board(net, mb.net("SLOW", ("TOP", "S1"), signal="1 Gb/s", place=1)), model="uniform")
    page = Page(write_report(ranking, tmp_path / "r.html").read_text(encoding="utf-8"))
    assert [at["id"] for at in page.all("section")] == ["decision", "margins", "pictures", "grounds"]
    assert "Deserves drilling" in page.text
    assert ranking["A"].reason in page.text
    assert "3 x Nyquist" in page.text or "at least 3" in page.text


def test_an_existing_file_is_replaced_only_if_told(drilled, tmp_path, monkeypatch):
    monkeypatch.setattr(stubsi.report.board_report, "_report", lambda *_: "new")
    path = tmp_path / "board.html"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(FileError, match="exists already"):
        write_report(drilled, path)
    assert path.read_text(encoding="utf-8") == "old"
    assert write_report(drilled, path, replace=True) == path
    assert path.read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ({"what": "board"}, "what = 'board': must be a Plan or a Ranking"),
        ({"tolerances": "wide"}, "tolerances = 'wide': must be a Corners"),
    ],
    ids=["what", "tolerances"],
)
def test_an_argument_of_another_kind_is_named(drilled, tmp_path, arguments, named):
    with pytest.raises(StubsiError, match=named):
        write_report(**{"what": drilled, "path": tmp_path / "x.html", **arguments})


def test_tolerances_of_another_board_are_refused(drilled, spread, tmp_path):
    other = plan(drilled.board.replaced(name="other"), drilled.rules, model="uniform", dk_eff=4)
    with pytest.raises(StubsiError, match="are of another board"):
        write_report(other, tmp_path / "x.html", tolerances=spread)


def test_a_report_over_tolerances_judges_by_them(drilled, tmp_path):
    """Of a ranking: the verdicts over the corners. Of a plan: the yield after drilling, of this plan and no other."""
    tolerances = Tolerances(dielectric_thickness=Tolerance.plus_minus("10 %", source=SAYS))
    found = corners(drilled.board, tolerances, model="uniform")
    after = drilled_yield(drilled, Tolerances())
    with (
        mock.patch("stubsi.report.board_report.picture", return_value=""),
        mock.patch("stubsi.report.pictures.picture", return_value=""),
    ):
        ranked = write_report(found.ranking.as_drawn, tmp_path / "ranked.html", tolerances=found)
        planned = write_report(drilled, tmp_path / "planned.html", tolerances=after)
        with pytest.raises(StubsiError, match="are of another plan"):
            write_report(plan(drilled.board, drilled.rules, model="uniform", dk_eff=3), planned, tolerances=after)
    assert "by the tolerances given" in ranked.read_text(encoding="utf-8")
    assert "8 % of its limit" not in ranked.read_text(encoding="utf-8")
    assert "Nets after drilling, over their tolerances" in planned.read_text(encoding="utf-8")


def test_corners_show_themselves_in_a_notebook(spread):
    page = Page(spread._repr_html_())
    assert EVIL in page.text
    assert BY_TOLERANCES in page.text
    assert {tag for tag, _ in page.found} <= {"div", "table", "thead", "tbody", "tr", "th", "td", "style"}


# --- in a real browser ------------------------------------------------------------------------------------------------

PROBE = """<script>
const refused = [];
document.addEventListener("securitypolicyviolation", (event) => refused.push(event.blockedURI));
window.addEventListener("load", () => {
  const found = {};
  const shown = () => [...document.querySelectorAll("#nets tbody tr")].filter((r) => !r.hidden);
  const first = () => shown().map((row) => row.cells[0].textContent);
  found.all = first();
  const button = [...document.querySelectorAll("#nets th button")][2];
  button.focus();
  found.focused = document.activeElement === button;
  button.click(); found.rising = shown().map((row) => row.cells[2].dataset.key);
  found.sorted = button.parentElement.getAttribute("aria-sort");
  button.click(); found.falling = shown().map((row) => row.cells[2].dataset.key);
  const words = document.getElementById("nets-words");
  words.value = "D"; words.dispatchEvent(new Event("input"));
  found.said = document.getElementById("nets-said").textContent;
  words.value = "no such net"; words.dispatchEvent(new Event("input"));
  found.none = first();
  words.value = ""; words.dispatchEvent(new Event("input"));
  const choice = document.getElementById("nets-verdict");
  choice.value = "pass"; choice.dispatchEvent(new Event("change"));
  found.passed = shown().map((row) => row.dataset.verdict);
  const name = (e) => (e.getAttribute("aria-label") || (e.labels && e.labels[0] && e.labels[0].textContent)
    || e.textContent).trim();
  found.nameless = [...document.querySelectorAll("button,input,select,summary,a,[role=img],[role=region],section")]
    .filter((e) => !name(e)).length;
  found.unreached = [...document.querySelectorAll("button,input,select,a[href],[role=region]")]
    .filter((e) => e.tabIndex < 0).length;
  found.wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  found.letters = Math.min(...[...document.querySelectorAll("p,li,td,th,label")]
    .map((e) => parseFloat(getComputedStyle(e).fontSize)));
  found.ground = getComputedStyle(document.body).backgroundColor;
  window.dispatchEvent(new Event("beforeprint"));
  found.folded = document.querySelectorAll("details:not([open])").length;
  found.loaded = performance.getEntriesByType("resource").map((entry) => entry.name);
  found.refused = refused;
  document.title = "probed " + JSON.stringify(found);
  parent.postMessage(document.title, "*");
});
</script>"""


def framed(file, width):
    """A page with another one in a frame: headless Chromium has no window narrower than 500 px."""
    frame = file.with_name("framed.html")
    frame.write_text(
        "<!DOCTYPE html><script>onmessage = (event) => { document.title = event.data; };</script>"
        f'<iframe src="{file.name}" style="width:{width}px;height:3000px;border:0"></iframe>',
        encoding="utf-8",
    )
    return frame


def browsed(text, folder, width, probe=PROBE):
    """What a probe finds in the page at a width, and what the browser says."""
    file = folder / "probed.html"
    file.write_text(text.replace("</head>", probe + "</head>"), encoding="utf-8")
    file = framed(file, width) if width < 500 else file
    run = subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
            "--disable-component-update", "--no-first-run", f"--user-data-dir={folder / 'profile'}",
            f"--window-size={width},900", "--enable-logging=stderr", "--dump-dom",
            file.as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    title = re.search(r"<title>probed (.*?)</title>", run.stdout, re.DOTALL)
    assert title, run.stdout[:500] + run.stderr[-2000:]
    return json.loads(html.unescape(title[1])), run.stderr


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: the report is not looked at in a browser")
@pytest.mark.parametrize("width", [390, 1400], ids=["phone", "desktop"])
def test_the_report_works_in_a_browser(whole, tmp_path, width):
    """Sorted, filtered, reached by keyboard, readable; nothing is loaded and nothing is complained about."""
    found, said = browsed(whole, tmp_path, width)
    assert "CONSOLE" not in said
    assert found["loaded"] == []  # the page asked for nothing, and its policy had nothing to refuse
    assert found["refused"] == []
    assert len(found["all"]) == 4
    assert found["focused"]
    assert found["sorted"] == "ascending"
    known = [float(key) for key in found["rising"] if key]
    assert known == sorted(known)
    assert [float(key) for key in found["falling"] if key] == sorted(known, reverse=True)
    assert found["rising"][len(known) :] == [""] * (4 - len(known))  # what has no margin stands last
    assert found["said"].endswith("of 4 nets shown")
    assert found["none"] == []
    assert set(found["passed"]) <= {"pass"}
    assert (found["nameless"], found["unreached"], found["folded"]) == (0, 0, 0)
    assert found["wide"] <= 0  # nothing but a region of its own scrolls sideways
    assert found["letters"] >= 12


WIDTHS = """<script>
window.addEventListener("load", () => {
  const wide = [...document.querySelectorAll(".stubsi")].map((each) => each.scrollWidth);
  const hidden = [...document.querySelectorAll("th.more")].filter((each) => each.offsetWidth === 0).length;
  for (const each of document.querySelectorAll("details.more")) each.open = true;
  const open = [...document.querySelectorAll("th.more")].filter((each) => each.offsetWidth > 0).length;
  document.title = "probed " + JSON.stringify({wide, hidden, open});
});
</script>"""


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: notebooks are not looked at in a browser")
def test_the_main_columns_fit_into_a_notebook(tmp_path):
    """900 px: a table wider than that scrolls sideways. Folded columns are hidden, and there when unfolded."""
    board = stubsi.read_board("shared/demo_board.toml")
    rules = stubsi.read_rules("shared/demo_rules.toml")
    made = plan(board, rules, model="uniform")
    shown = (made.limits.ranking, made, made.consequences(), made.effects(), made.reroutes(), made.questions(), board)
    frames = "".join(f'<div style="width:900px">{each._repr_html_()}</div>' for each in shown)
    page = f"<!DOCTYPE html><html><head></head><body style='margin:0;font:13px sans-serif'>{frames}</body></html>"
    found, _ = browsed(page, tmp_path, 1000, WIDTHS)
    assert max(found["wide"]) <= 900
    assert found["hidden"] == found["open"] > 10
