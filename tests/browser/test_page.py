"""The pages in a real browser: nothing is fetched, nothing complains, nothing sticks out; read by anybody, on paper too."""

import io

import pytest
from matplotlib.colors import to_rgb
from pypdf import PdfReader

from imustride.report.drawing import PALE
from tests.browser.printing import PAPERS_IN

NAMES = (
    "clean",
    "demo",
    "spoiled",
    "french",
    "one run",
    "one skate",
    "eight runs",
    "eight in French",
    "all unclear",
    "no gates",
    "body",
    "worn",
    "worn in French",
    "hostile",
    "list",
)
HOSTILE = {"hostile", "list"}
SESSIONS = tuple(name for name in NAMES if name not in HOSTILE)
TELEPHONE_PX, DESK_PX = 360, 1280
PRINTED_PX = round((8.27 - 2 * 8 / 25.4) * 96)  # A4 between its margins
LEAST_PT = 8.0
PX_PER_PT = 96 / 72
COLOURS = """
const found = [];
for (const one of document.querySelectorAll('figure svg :is(path, use, text, tspan, rect, line)')) {
  if (one.closest('defs, clipPath')) continue;
  const style = getComputedStyle(one), text = !!one.closest('text');
  for (const kind of ['fill', 'stroke'])
    if (style[kind].startsWith('rgb(') && +style[kind + 'Opacity'] > 0) found.push([text, style[kind]]);
}
return found;
"""
SIZES = """
return [...document.querySelectorAll('body *')].filter(one =>
  [...one.childNodes].some(child => child.nodeType === 3 && child.textContent.trim()) && one.getClientRects().length
).map(one => [parseFloat(getComputedStyle(one).fontSize) * (one.ownerSVGElement ? one.getScreenCTM().a : 1),
              one.textContent.trim().slice(0, 40)]);
"""


@pytest.fixture(scope="module", params=NAMES)
def opened(request, shown):
    return shown(request.param)


def test_only_the_page_itself_is_loaded(opened):
    assert opened.own == 1
    assert opened.others == []


def test_the_console_is_silent(opened):
    assert opened.complaints == []


def test_nothing_of_a_file_becomes_markup(opened):
    assert opened.run("return document.querySelectorAll('img, script, iframe, object, link').length") == 0
    assert opened.run("return document.querySelectorAll('[onerror]').length") == 0
    read = opened.run("return document.body.textContent")
    assert ("<img src=x onerror=alert(1)>\"'`&amp;</style></td>[U+202E]" in read) == (opened.name in HOSTILE)
    unseen = opened.run(
        r"return document.documentElement.textContent.match(/[\u0000-\u0008\u000b-\u001f\u202a-\u202e\u2066-\u2069]/g)"
    )
    assert unseen is None


@pytest.mark.parametrize("width_px", [TELEPHONE_PX, DESK_PX])
@pytest.mark.parametrize("unfolded", [False, True])
def test_nothing_sticks_out(opened, unfolded, width_px):
    opened.wide(width_px)
    opened.unfold(unfolded)
    assert opened.run("return document.documentElement.scrollWidth") <= width_px


@pytest.mark.parametrize("width_px", [TELEPHONE_PX, DESK_PX])
def test_the_accessibility_checker_finds_nothing(opened, axe, width_px):
    opened.wide(width_px)
    opened.unfold(unfolded=True)
    opened.run(axe + "; window.axe = axe;")
    found = opened.browser.execute_async_script(
        "const done = arguments[arguments.length - 1]; axe.run(document, {resultTypes: ['violations']})"
        ".then(found => done([found.passes.length, found.violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 200))])]))"
    )
    assert found[0] >= 10
    assert found[1] == []


def luminance(colour):
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(colour):
    """Contrast with white (WCAG 2.2, relative luminance): the same in colour and as the grey of equal luminance."""
    return 1.05 / (luminance(colour) + 0.05)


def test_contrast_can_be_too_low():
    assert contrast(to_rgb("#767676")) >= 4.5 > contrast(to_rgb("#777777"))
    assert contrast((0.0, 0.0, 0.0)) == pytest.approx(21)


@pytest.mark.parametrize("name", SESSIONS)
@pytest.mark.parametrize("media", ["screen", "print"])
def test_pictures_are_seen_in_colour_and_in_grey(shown, name, media):
    opened = shown(name)
    opened.wide(DESK_PX, media)
    found = {
        (text, tuple(int(part) / 255 for part in colour[4:-1].split(",")))
        for text, colour in opened.run(COLOURS)
    }
    assert len(found) >= 4
    backs = {to_rgb("white"), to_rgb(PALE)}
    for text, colour in found:
        assert contrast(colour) >= 4.5 if text else (colour in backs or contrast(colour) >= 3)


@pytest.mark.parametrize("name", [*SESSIONS, "list"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_page_with_the_details_left_out(shown, name, paper):
    opened = shown(name)
    opened.unfold(unfolded=False)
    pages = PdfReader(io.BytesIO(opened.printed(paper))).pages
    assert len(pages) == 1
    size_in = (pages[0].mediabox.width / 72, pages[0].mediabox.height / 72)
    assert size_in == pytest.approx(PAPERS_IN[paper], abs=0.02)


def test_hostile_names_are_still_printed(shown):
    assert len(PdfReader(io.BytesIO(shown("hostile").printed("A4"))).pages) >= 1


@pytest.mark.parametrize("name", SESSIONS)
def test_printed_letters_are_large_enough(shown, name):
    opened = shown(name)
    opened.wide(PRINTED_PX, "print")
    assert (
        opened.run("return document.documentElement.scrollWidth") <= PRINTED_PX
    )  # else it is printed smaller
    sizes = opened.run(SIZES)
    assert len(sizes) > 50
    assert [(size, text) for size, text in sizes if size / PX_PER_PT < LEAST_PT - 0.05] == []


@pytest.mark.parametrize("name", SESSIONS)
def test_a_caption_on_a_telephone_is_a_glance(shown, name):
    opened = shown(name)
    opened.wide(TELEPHONE_PX)
    opened.unfold(unfolded=False)
    lines = opened.run(
        "return [...document.querySelectorAll('figure + .note')].map(p =>"
        " Math.round(p.getBoundingClientRect().height / parseFloat(getComputedStyle(p).lineHeight)))"
    )
    assert len(lines) >= 3
    assert max(lines) <= 7


def test_paper_shows_the_differences_that_are_real(shown):
    opened = shown("demo")
    opened.wide(PRINTED_PX, "print")
    rows = opened.run(
        "return [...document.querySelectorAll('table.cards:not(.runs) tbody tr')].filter(r => r.getClientRects().length)"
        ".map(r => r.textContent)"
    )
    assert 4 <= len(rows) <= 5
    assert [row.partition(":")[0] for row in rows if "real difference" in row] == [
        "time on the ice, later pushesreal difference",
        "time to the other landing, later pushesreal difference",
        "edge angle, later pushesreal difference",
    ]


def test_paper_names_every_run_that_does_not_count_and_why(shown):
    opened = shown("eight runs")
    opened.wide(PRINTED_PX, "print")
    left_out = opened.run("return document.querySelector('.left-out').innerText")
    assert "run-2, run-5 and run-6: the left skate does not run" in left_out
    assert "run-3: the rhythm breaks" in left_out
    assert opened.run("return document.querySelectorAll('.runs tbody tr').length") == 8


def test_the_pictures_are_drawn_with_readable_letters(shown):
    opened = shown("clean")
    opened.wide(TELEPHONE_PX)
    heights = opened.run(
        "return [...document.querySelectorAll('figure svg text')].map(t => t.getBoundingClientRect().height)"
    )
    assert len(heights) > 20
    assert min(heights) >= 9


def test_every_picture_has_a_title_an_alternative_and_a_table(shown):
    pictures = shown("clean").run(
        "return [...document.querySelectorAll('figure')].map(f => [f.closest('section').querySelector('h2').textContent,"
        " f.getAttribute('aria-label'), f.closest('section').querySelectorAll('details table tbody tr').length])"
    )
    assert len(pictures) >= 3
    assert all(title and len(says) > 40 and rows for title, says, rows in pictures)


def test_levels_are_on_the_screen_first_and_not_on_paper(shown):
    opened = shown("worn")
    titles = "return [...document.querySelectorAll('h2')].filter(h => h.getClientRects().length).map(h => h.textContent)"
    on_screen = opened.run(titles)
    level, legs, sides = (
        on_screen.index(title)
        for title in (
            "Posture and movement",
            "The leg through the push",
            "Left against right: the rest of the body",
        )
    )
    assert level < legs < sides
    opened.wide(PRINTED_PX, "print")
    assert "Posture and movement" not in opened.run(titles)


def test_levels_on_a_telephone_name_foot_and_phase_at_every_number(shown):
    opened = shown("worn")
    opened.wide(TELEPHONE_PX)
    opened.unfold(unfolded=True)
    labels = opened.run(
        "return [...document.querySelectorAll('.levels tbody tr')].map(r => [...r.querySelectorAll('td')].map(c =>"
        " getComputedStyle(c, '::before').content))"
    )
    assert len(labels) >= 20
    assert {tuple(label.strip('"') for label in row) for row in labels} == {
        ("L first 6 pushes: ", "R first 6 pushes: ", "L later pushes: ", "R later pushes: ")
    }


def test_differences_on_a_telephone_name_what_every_number_is(shown):
    opened = shown("worn")
    opened.wide(TELEPHONE_PX)
    opened.unfold(unfolded=True)
    labels = opened.run(
        "return [...document.querySelectorAll('.compared tbody tr')].map(r => [...r.querySelectorAll('td')].map(c =>"
        " getComputedStyle(c, '::before').content))"
    )
    assert len(labels) > 40
    named = ("none", "L: ", "R: ", "Right − left (95 % sure): ", "Sensors alone: ", "Pushes L, R; runs: ")
    assert {tuple(label.strip('"') for label in row) for row in labels} == {named}


def test_the_style_is_applied_in_spite_of_the_content_policy(shown):
    style = "return getComputedStyle(document.querySelector('h2')).borderTopStyle"
    assert shown("clean").run(style) == "solid"


def test_the_content_policy_stops_what_would_be_fetched(shown):
    opened = shown("clean")
    stopped = opened.browser.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "document.addEventListener('securitypolicyviolation', e => done(e.effectiveDirective));"
        "const i = new Image(); i.src = 'data:image/gif;base64,R0lGODlhAQABAAAAACw='; document.body.append(i);"
    )
    assert stopped == "img-src"


def test_the_list_leads_to_the_pages(shown):
    links = shown("list").run("return [...document.querySelectorAll('a')].map(a => [a.textContent, a.href])")
    assert [href.rsplit("/", 1)[1] for _, href in links] == ["summary.html"] * 2
    assert links[1][1].endswith("/one/summary.html")
    assert "/a%2F%23%3F%20" in links[0][1]
