# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from pack_sample import png, sample_result
from seamwright.core.errors import InputError
from seamwright.core.findings import Finding, Severity
from seamwright.core.job import Job, Skin
from seamwright.core.jobpack.page import job_page
from seamwright.core.jobpack.page_parts import Column, number, powers, table

VOID = {"meta", "img", "br"}
HOSTILE = "<script>alert('x')</script> & \"quoted\" </title><img src=x onerror=alert(1)>"


class Reader(HTMLParser):
    """Keeps open tags in a stack, and what the page would fetch or show."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.idents: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []
        self.attributes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value or "" for name, value in attrs if name in ("href", "src", "action", "data", "srcset")]
        self.idents += [value or "" for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def words(page: str) -> str:
    return " ".join(" ".join(read(page).text).split())


def hostile_result():
    job = replace(Job(), title=HOSTILE)
    result = sample_result(job)
    pieces = tuple(replace(piece, mark=f"<b>{piece.mark}", joints=("<i>",)) for piece in result.pieces)
    finding = Finding("<u>", Severity.ERROR, HOSTILE, HOSTILE, piece=HOSTILE, joint=HOSTILE, unit="<s>", measured=1.0)
    lines = (replace(result.takeoff[0], item=HOSTILE, basis=HOSTILE, unit="<q>"),)
    plan = replace(result.plan, text=HOSTILE)
    return replace(result, pieces=pieces, findings=(finding,), takeoff=lines, plan=plan)


@pytest.mark.parametrize("pictures", [{}, {"01-all.png": png()}, {"a.png": png(), "b.png": png()}])
def test_page_is_whole_and_needs_nothing_outside(pictures: dict[str, bytes]) -> None:
    page = job_page(sample_result(), pictures)
    reader = read(page)
    assert page.startswith("<!DOCTYPE html>")
    assert reader.tags.count("html") == reader.tags.count("main") == reader.tags.count("h1") == 1
    assert "script" not in reader.tags
    assert "link" not in reader.tags
    for link in reader.links:
        assert link.startswith(("#", "data:image/png;base64,"))
    assert {link[1:] for link in reader.links if link.startswith("#")} <= set(reader.idents)
    assert len(reader.idents) == len(set(reader.idents))
    assert not re.search(r"https?:|//[a-z]|url\(|@import", page)


def test_sections_stand_in_the_order_of_the_job() -> None:
    headings = re.findall(r"<h2>(.*?)</h2>", job_page(sample_result(), {}))
    assert headings == ["Summary", "Pictures", "Findings", "Pieces", "Handling", "Joints", "Take-off", "Cautions"]


def test_hostile_words_are_shown_not_run() -> None:
    page = job_page(hostile_result(), {'"><script>x.png': png()})
    reader = read(page)
    assert not {"script", "b2", "u", "s", "q"} & set(reader.tags)
    assert reader.tags.count("img") == 1
    assert "onerror" not in reader.attributes
    assert " ".join(HOSTILE.split()) in words(page)


def test_pictures_are_embedded_bit_for_bit_in_name_order() -> None:
    first, second = png(6, 2), png(3, 5)
    page = job_page(sample_result(), {"02-side.png": second, "01-all_pieces.png": first})
    data = re.findall(r'src="data:image/png;base64,([^"]+)"', page)
    assert [base64.b64decode(d) for d in data] == [first, second]
    assert re.findall(r"<figcaption>(.*?)</figcaption>", page) == ["All pieces", "Side"]
    assert 'width="6" height="2"' in page


@pytest.mark.parametrize("data", [b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe0 a photograph", b"<svg/>"])
def test_what_is_no_png_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match=r"'all\.png' is not a PNG"):
        job_page(sample_result(), {"all.png": data})


def test_every_figure_of_a_piece_stands_in_its_row() -> None:
    result = sample_result()
    page = job_page(result, {})
    for piece in result.pieces:
        f = piece.figures
        row = next(r for r in re.findall(r"<tr>.*?</tr>", page) if f">{piece.mark}</td>" in r and "length (m)" in r)
        cells = [re.sub(r"<.*?>", "", cell) for cell in re.findall(r"<td.*?</td>", row)]
        shown = [*(f"{v:.2f}" for v in f.box), f"{f.volume:.3f}", *(f"{v:.2f}" for v in f.areas)]
        shown += [f"{v:.1f}" for v in (f.foam_mass, f.skin_mass, f.finished_mass)]
        assert cells == [piece.mark, " ".join(piece.joints), *shown, str(f.crew) if f.crew else "over 4", piece.status]


def test_numbers_are_set_to_the_right_under_a_unit() -> None:
    page = job_page(sample_result(), {})
    table = page[page.index("Pieces as carried") :]
    table = table[: table.index("</table>")]
    for name, unit in (("length", "m"), ("volume", "m³"), ("carved", "m²"), ("finished", "kg")):
        assert f'<th scope="col" class="n">{name}<span class="unit">{unit}</span></th>' in table
    assert len(re.findall(r'<td class="n" data-head="[^"]+">[-0-9.]+</td>', table)) >= 3 * 11


def test_empty_parts_are_said_in_words() -> None:
    result = sample_result(replace(Job(), skin=Skin(layers=())))
    bare = replace(result, pieces=(), joints=(), contacts=(), findings=(), takeoff=(), crumbs=())
    said = words(job_page(bare, {}))
    for sentence in (
        "No pictures were made for this pack.",
        "No check found anything.",
        "There are no pieces.",
        "There are no joints: the carving stays in one piece.",
        "Nothing was taken off.",
    ):
        assert sentence in said


def test_a_joint_without_contact_is_named() -> None:
    result = sample_result()
    said = words(job_page(replace(result, contacts=result.contacts[:1]), {}))
    assert "Joint B parts no two pieces." in said
    said = words(job_page(replace(result, contacts=()), {}))
    assert "Joints A, B part no two pieces." in said


def test_notes_of_one_check_are_gathered() -> None:
    result = sample_result()
    notes = [f for f in result.findings if f.check == "reach"]
    assert len(notes) == 3
    said = words(job_page(result, {}))
    assert "3 times, measured 0.81 to 1.01 m." in said
    assert said.count(notes[0].message) == 1
    assert "Notes of one check are gathered" in said


def test_cautions_defer_and_promise_nothing() -> None:
    said = words(job_page(sample_result(), {})).lower()
    for word in ("hot wire", "resin", "dust", "lifting", "local codes", "people competent", "team rule", "niosh"):
        assert word in said
    assert not re.search(r"\bsafe(ly|ty)?\b", said)


def test_page_says_what_is_weighed() -> None:
    assert "Edge returns (laminate) are weighed, clipped to their faces." in words(job_page(sample_result(), {}))
    assert "are not weighed." not in words(job_page(sample_result(replace(Job(), skin=Skin(layers=()))), {})).replace(
        "edge returns are not weighed", ""
    )


@pytest.mark.parametrize(
    ("value", "text"), [(-0.0, "0.0"), (-0.04, "0.0"), (-0.06, "-0.1"), (12.34, "12.3"), (None, "–")]
)
def test_numbers_for_people(value: float | None, text: str) -> None:
    assert number(value, 1) == text


def test_each_cell_tells_its_column_for_small_screens() -> None:
    columns = [Column("piece"), Column("mass <b>", "kg", True), *(Column(f"c{k}") for k in range(4))]
    text = table("All", columns, [["1", "2.0", *"abcd"]])
    assert '<td class="name" data-head="piece">1</td><td class="n" data-head="mass &lt;b&gt; (kg)">2.0</td>' in text
    assert '<table class="cards">' in text
    assert "cards" not in table("Few", columns[:3], [["1", "2", "3"]])
    assert "cards" not in table("Kept", columns, [["1", "2", *"abcd"]], cards=False)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("12.3 m2 of 4 m3", "12.3 m² of 4 m³"),
        ("15 kg/m3, 0.4 kg/m2", "15 kg/m³, 0.4 kg/m²"),
        ("piece m2 and pieces m3", "piece m2 and pieces m3"),
        ("sold by the 50 m20", "sold by the 50 m20"),
    ],
)
def test_square_and_cubic_metres(text: str, shown: str) -> None:
    assert powers(text) == shown


def test_each_printed_page_says_the_job_and_no_title_ends_the_style() -> None:
    page = job_page(sample_result(replace(Job(), title='"; } </style><script>x</script>\\')), {})
    style = page[page.index("<style>") + 7 : page.index("</style>")]
    assert style.count("{") == style.count("}")
    foot = style[style.index("@bottom-left") :]
    assert foot.startswith('@bottom-left { content: "\\22 \\3b \\20 \\7d ')
    assert "counter(page)" in foot
    assert "script" not in read(page).tags
    assert "<h1>&quot;; } &lt;/style&gt;" in page
