"""The pages: one file that loads nothing, names that stay text, pictures without their past, and what they must say."""

import base64
import io
import re
from html.parser import HTMLParser

import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from afternoon import DEMO, afternoon
from linetilt.handouts.charts import landing_figure
from linetilt.handouts.pages import HITTING_CAUTION
from linetilt.session.which_book import DEMO_KNOWN
from PIL import Image

EVIL = "<script>document.title='owned'</script>"


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    with afternoon(tmp_path_factory.mktemp("book") / "shop.linetilt") as book:
        yield book


@pytest.fixture(scope="module")
def report(book):
    return lt.golfer_report(book, 1)


class Page(HTMLParser):
    """The page's elements, and its text apart from scripts and styles."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.text, self._in = [], "", []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._in.append(tag)

    def handle_endtag(self, tag):
        if tag in ("script", "style"):
            self._in.pop()

    def handle_data(self, data):
        if not self._in:
            self.text += data


def test_a_report_says_what_it_must(report, book):
    text = " ".join(Page(report).text.split())
    plan = lt.session_plan(book, 1)
    assert plan["outcome"].tolist() == book.plans(1)["outcome"].tolist()  # as it was handed out
    for row in plan.itertuples():
        assert row.reason in text
    for line in (
        "Perrin Oldacre",
        "2026-04-18, Saltmarsh End",
        "40 of 44 balls counted",
        "What will be bent",
        "What to practise",
        "How sure this is",
        "95 % probability",
        "4 balls were set aside: heavy, hit twice without wiping",
        lt.bench.plan.CAUTION,
        HITTING_CAUTION,
        "bent 2.25° upright",
    ):
        assert line in text, line
    estimate = lt.session_fit(book, 1).table.set_index("club").loc["8"]
    low, high = sorted((-estimate["low_deg"], -estimate["high_deg"]))
    assert f"{-estimate['lie_error_deg']:.1f}° toe down" in text and f"{low:.1f}° to {high:.1f}° toe down" in text


def test_a_page_loads_nothing(report, book):
    for page in (report, lt.bench_sheet(book, 1), lt.handouts.clinic_summary(book, "2026-04-18")):
        tags = Page(page).tags
        assert not [
            tag
            for tag, attrs in tags
            if tag in ("link", "iframe", "object") or (attrs.get("src") or "data:").split(":")[0] != "data"
        ]
    assert len(re.findall(r"plotly\.js v\d", report)) == 1 and report.count('class="plotly-graph-div"') == 2


def test_a_page_that_cannot_be_written_is_named(book, tmp_path):
    (tmp_path / "letter").write_text("Dear Robin")
    for make in (lt.bench_sheet, lt.golfer_report):
        with pytest.raises(lt.BookError, match="the page could not be kept as .*letter.*; expected a folder"):
            make(book, 1, tmp_path / "letter" / "page.html")
    assert (tmp_path / "letter").read_text() == "Dear Robin"


def test_pictures_bring_nothing_of_the_phone(report, book):
    """The photos hold EXIF; those in the page hold none, and are small."""
    with Image.open(book.photo(int(book.shots(1)["shot_id"].iloc[0]))) as kept:
        assert len(kept.getexif())
    pictures = [attrs["src"] for tag, attrs in Page(report).tags if tag == "img"]
    assert len(pictures) == 4
    for source in pictures:
        data = base64.b64decode(source.removeprefix("data:image/jpeg;base64,"))
        picture = Image.open(io.BytesIO(data))
        assert not picture.getexif() and "exif" not in picture.info and b"Exif" not in data and picture.width == 520
    assert "photos/" not in report and "sha" not in Page(report).text


def test_best_read_marks_are_those_with_the_least_uncertainty(report, book):
    shots = book.shots(1)
    best = shots[shots["counted"]].sort_values("u_tilt_deg").drop_duplicates("club").head(4)["club"]
    alts = [attrs["alt"] for tag, attrs in Page(report).tags if tag == "img"]
    assert [re.match(r"Face of the (\w+)", alt)[1] for alt in alts] == best.tolist()


@pytest.fixture
def evil(tmp_path):
    """A book in which every text that somebody may type is a script."""
    with lt.SessionBook(tmp_path / "evil.linetilt") as book:
        bag = lt.Bag(
            [
                lt.Club(label=EVIL, loft_deg=34, lie_deg=62, length_in=37, head="forged"),
                lt.Club(label="PW", loft_deg=46, lie_deg=64, length_in=35.75),
            ]
        )
        bag_id = book.add_bag(book.add_golfer(EVIL, note=EVIL), bag, name=EVIL)
        session = book.add_session(bag_id, day="2026-05-31", place=EVIL, note=EVIL)
        for club in bag.labels * 6:
            book.add_shot(
                session,
                club,
                mark={"tilt_deg": -2.5, "u_tilt_deg": 0.3, "strike_toe_mm": 4.0, "strike_up_mm": 15.0},
                start=(0.2, 0.2),
                note=EVIL,
            )
        book.set_aside(book.add_shot(session, "PW", mark={"tilt_deg": 5.0}), EVIL)
        yield book


def evil_pages(book):
    return {
        "report": lt.golfer_report(book, 1),
        "bench": lt.bench_sheet(book, 1),
        "clinic": lt.handouts.clinic_summary(book, "2026-05-31"),
    }


def test_a_golfer_called_script_stays_text(evil):
    for name, page in evil_pages(evil).items():
        parsed = Page(page)
        assert EVIL in parsed.text, name
        assert "<script>document" not in page and sum(tag == "script" for tag, _ in parsed.tags) == page.count(
            "<script"
        ), name


def test_reports_are_named_so_that_every_disk_takes_them(evil, book, tmp_path):
    assert [path.name for path in lt.handouts.golfer_reports(evil, [1], tmp_path, comparison=None)] == [
        "0001-script-document-title-owned-script.html"
    ]
    names = [
        path.name for path in lt.handouts.golfer_reports(book, [1, 2], tmp_path / "new", comparison=None, photos=0)
    ]
    assert names == ["0001-perrin-oldacre.html", "0002-wynn-tarrow.html"]


def test_a_bench_sheet_has_what_the_bench_needs(book):
    page = lt.bench_sheet(book, 1)
    cells = [" ".join(part.split()) for part in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", page)]
    at = cells.index("8")
    assert cells[at : at + 8] == [
        "8",
        "forged, ±2° from the maker's figure".replace("'", "&#39;"),
        "38°",
        "61°",
        "<strong>2.25° upright</strong>",
        "63.25°",
        "nothing, it is the whole bend",
        "",
    ]
    assert "Cast heads crack" in page and "Leave as they are: 5, 6, 9, PW, SW" in page and "eye protection" in page
    assert page.count('class="write"') == 3


def test_a_session_without_bends_or_photos_or_strikes(tmp_path):
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        session = book.add_session(
            book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34)])), day="2026-05-31"
        )
        with pytest.raises(lt.InputError, match="no ball of session 1"):
            lt.golfer_report(book, session)
        for tilt in (0.1, -0.2, 0.1):
            book.add_shot(session, "7", mark={"tilt_deg": tilt}, start=0.0)
        text = Page(lt.golfer_report(book, session)).text
        assert (
            "Nothing, on what is known today." in text
            and "No photos were kept" in text
            and "What it would do" not in text
        )
        assert "No club of this session asks for a bend." in Page(lt.bench_sheet(book, session)).text
        with pytest.raises(lt.InputError, match="no session on 2020"):
            lt.handouts.clinic_summary(book, "2020-01-01")


def test_hands_instead_of_a_bend_bring_their_own_picture(tmp_path):
    club = lt.Club(label="6", loft_deg=30, lie_deg=62, length_in=37.5, head="not bendable")
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        bag = book.add_bag(book.add_golfer("Robin"), lt.Bag([club]))
        session = book.add_session(bag, day="2026-05-31", **DEMO_KNOWN)
        for _ in range(9):
            book.add_shot(session, "6", mark={"tilt_deg": -2.2, "u_tilt_deg": 0.2}, start=(0.0, 0.2))
        text = " ".join(Page(lt.golfer_report(book, session)).text.split())
        assert (
            re.search(r"What it would do to your shots: the 6, hands \d+ mm lower", text) and "must not be bent" in text
        )


def test_the_coach_sees_everybody(book):
    text = " ".join(Page(lt.handouts.clinic_summary(book, "2026-04-18").replace("</td>", " </td>")).text.split())
    assert (
        "2 golfers, 45 balls that counted, Saltmarsh End" in text
        and "Wynn Tarrow" in text
        and "8: 2.25° upright" in text
    )
    assert "40 8 of 8" in text


def test_a_report_of_a_given_comparison(book):
    fit = lt.session_fit(book, 1)
    own = lt.compare_shots(fit.bag["7"], lt.flight.Delivery(club_speed_m_s=30), -1.0, bend_deg=1.0, own_carry_m=120)
    figure = landing_figure(own, "m")
    assert {trace.xaxis for trace in figure.data} == {None} and "from the side" not in str(
        [trace.name for trace in figure.data]
    )
    assert "line" in figure.layout.xaxis.ticktext and len(figure.layout.xaxis.ticktext) == len(
        figure.layout.xaxis.tickvals
    )
    text = " ".join(Page(lt.golfer_report(book, 1, comparison=own, unit="m", photos=0)).text.split())
    assert (
        "the 7, bent 1° upright" in text and "Carry is scaled to the golfer's own" in text and "mean carry, m" in text
    )
    assert isinstance(fit.table, pd.DataFrame)


def orange(source):
    """Share of a picture's pixels that have the colour of the drawn line."""
    with Image.open(io.BytesIO(base64.b64decode(source.partition(",")[2]))) as picture:
        red, green, blue = np.asarray(picture, float).transpose(2, 0, 1)
    return float(((red - blue > 90) & (red > green + 25)).mean())


def test_what_stands_in_the_book_is_drawn_without_measuring_again(tmp_path, monkeypatch):
    bag, photo = lt.read_bag(DEMO / "bag.csv"), DEMO / "photos" / "perrin" / "6-3.jpg"
    mark = vars(lt.measure_photo(photo, bag["6"]))
    monkeypatch.setattr("linetilt.reading.pipeline.trace_photo", None)
    by_eye = {name: value for name, value in mark.items() if name not in ("corners", "line")}
    moved = mark | {"line": mark["line"] + 0.3 * np.ptp(mark["corners"], axis=0) * (1, 0)}
    pictures = []
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        for one in (mark, moved, by_eye):
            session = book.add_session(book.add_bag(book.add_golfer("Robin"), bag, day="2026-05-31"), day="2026-05-31")
            book.add_shot(session, "6", photo=photo, mark=one)
            page = Page(lt.golfer_report(book, session, comparison=None))
            pictures += [attrs["src"] for tag, attrs in page.tags if tag == "img"]
    shares = [orange(picture) for picture in pictures]
    assert min(shares[:2]) > 0.001 > 3 * shares[2] and pictures[0] != pictures[1]


def test_the_trend_is_told_where_there_is_one(tmp_path):
    """Three days of one club tell a trend; three days of a club each tell none, and the report says nothing of it."""
    bag = lt.Bag([lt.Club(label=label, loft_deg=30 + 4 * place) for place, label in enumerate("678")])
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        for clubs in ("777", "678"):
            bag_id = book.add_bag(book.add_golfer(clubs), bag)
            for club, day in zip(clubs, ("2026-05-01", "2026-05-08", "2026-05-15")):
                session = book.add_session(bag_id, day=day)
                for toe in (-2.0, 1.0, 4.0):
                    book.add_shot(
                        session,
                        club,
                        mark={"tilt_deg": 0.5, "strike_toe_mm": toe, "strike_up_mm": 15.0},
                    )
        assert "Strikes over time, across the face: No change yet" in lt.golfer_report(book, 3)
        assert "Strikes over time" not in lt.golfer_report(book, 6)


def test_each_kind_of_ball_that_does_not_count_is_told_apart(tmp_path):
    """One ball waits, two were set aside for one reason, two photos were refused: a sentence each."""
    with lt.SessionBook(tmp_path / "a.linetilt") as book:
        session = book.add_session(
            book.add_bag(book.add_golfer("Robin"), lt.Bag([lt.Club(label="7", loft_deg=34)])), day="2026-05-31"
        )
        book.add_shot(session, "7", mark={"tilt_deg": 0.1})
        for _ in range(2):
            book.set_aside(book.add_shot(session, "7", mark={"tilt_deg": 3.0}), "heavy strike")
        book.add_shot(session, "7", mark={"tilt_deg": 1.0}, state="to_look_at")
        for code in ("two_lines", "no_face"):
            book.add_shot(session, "7", state="refused", reason=code, why="what was seen")
        text = " ".join(Page(lt.golfer_report(book, session, comparison=None)).text.split())
    assert "1 of 6 balls counted" in text and "what was seen" not in text and "heavy_strike" not in text
    for sentence in (
        "2 balls were set aside: heavy strike.",
        "2 photos could not be read.",
        "1 ball nobody has looked at yet.",
    ):
        assert sentence in text, sentence
