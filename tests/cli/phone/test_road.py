"""The solver's road over the wire, without a browser: photo, nudge, more, wrote, check."""

from __future__ import annotations

import html
import json
import re

import cv2
import numpy as np
import pytest
from samples import chosen
from shared_phone import FIXTURES, Home, Phone, Reply

from papernudge.cli.said.languages import words_in


def truth(name: str) -> dict[str, str]:
    page = json.loads((FIXTURES / f"{name}.json").read_text("utf-8"))
    return dict(next(grid for grid in page["grids"] if grid["kind"] == "puzzle"))


def picture(phone: Phone, at: Reply) -> np.ndarray:
    reply = phone.ask(f"{at.url}/picture.jpg")
    assert reply.status == 200
    assert reply.headers["content-type"] == "image/jpeg"
    return np.asarray(cv2.imdecode(np.frombuffer(reply.body, np.uint8), cv2.IMREAD_COLOR))


def test_a_photo_is_answered_with_the_least_that_helps(phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    assert at.status == 200
    assert re.fullmatch(r"(Follow the \ds|Look at (row|column|block) \d)\.", at.sentence)
    assert max(picture(phone, at).shape) <= 1200


def test_each_press_tells_one_depth_more_and_the_last_writes_a_right_digit(phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    said = [at.sentence]
    while "A little more" in at.text:
        at = phone.press(at, do="more")
        said.append(at.sentence)
    assert len(said) == len(set(said)) == 4
    found = re.search(r"\b([1-9])\b.*R([1-9])C([1-9])", said[-1])
    assert found is not None
    digit, row, column = found.groups()
    solution = truth("kitchen-table.jpg")["solution"]
    assert solution[9 * (int(row) - 1) + int(column) - 1] == digit


def test_what_was_written_is_known_and_the_next_nudge_is_another(phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    for _ in range(3):
        at = phone.press(at, do="more")
    wrote = re.search(r'value="(R\dC\d=entry:\d)"', at.text)
    assert wrote is not None
    after = phone.press(at, do="wrote", answer=wrote[1])
    assert after.sentence != at.sentence
    cell = wrote[1][:4]
    assert f"read as {wrote[1][-1]}, by hand" in phone.ask(f"{after.url}/cell/{cell}").text


def test_back_shows_what_stood_there_before(phone: Phone) -> None:
    first = phone.send("kitchen-table.jpg")
    phone.press(first, do="more")
    again = phone.ask(first.url)
    assert again.text == first.text


def test_check_says_how_much_is_wrong_and_no_more(phone: Phone) -> None:
    at = phone.press(phone.send("one-mistake.jpg"), do="check")
    assert "1" in at.sentence or "One" in at.sentence or "one" in at.sentence
    assert not re.search(r"R\dC\d", at.sentence)


def test_another_photo_of_the_same_grid_tells_what_was_written_since(phone: Phone) -> None:
    first = phone.send("kitchen-table.jpg")
    after = first.url.removeprefix("/p/")
    second = phone.send("kitchen-table-later.jpg", after)
    before, now = truth("kitchen-table.jpg"), truth("kitchen-table-later.jpg")
    new = [
        f"R{c // 9 + 1}C{c % 9 + 1}"
        for c in range(81)
        if now["entries"][c] != before["entries"][c] != now["entries"][c] != "."
    ]
    assert new
    assert f"Written since the photo before: {', '.join(new)}." in second.text


def test_a_photo_of_another_grid_is_not_taken_for_the_same(phone: Phone) -> None:
    first = phone.send("kitchen-table.jpg")
    other = phone.send("solved.jpg", first.url.removeprefix("/p/"))
    assert "other printed digits" in other.sentence


def test_boards_of_other_sizes_are_told_that_the_page_takes_nine_rows(phone: Phone) -> None:
    at = phone.send("childrens-corner.jpg")
    assert "The phone page takes grids of nine rows and nine columns" in at.text


@pytest.mark.slow
def test_the_grid_of_sixteen_rows_beside_one_of_nine_is_left_aside(phone: Phone) -> None:
    beside = phone.send("weekend.jpg")
    assert re.fullmatch(r"(Follow the \ds|Look at (row|column|block) \d)\.", beside.sentence)


def test_each_grid_of_a_page_can_be_chosen(phone: Phone) -> None:
    at = phone.send("two-grids.jpg")
    assert "Grid 1 of 2" in at.text
    offered = phone.ask(f"{at.url}/grids")
    assert [n for n in "12" if f'value="{n}"' in offered.text] == ["1", "2"]
    assert phone.ask(f"{at.url}/page.jpg").status == 200
    second = phone.press(at, do="grid", grid="2")
    assert "Grid 2 of 2" in second.text


@pytest.mark.parametrize("name", chosen(["no-grid.jpg", "cut-off.jpg"], "no-grid.jpg"))
def test_a_photo_that_holds_no_puzzle_gets_a_sentence_and_a_new_try(
    phone: Phone, name: str
) -> None:
    at = phone.send(name)
    assert at.sentence.endswith(".")
    assert "Take a photo" in at.text


def test_nothing_and_rubbish_get_a_sentence(phone: Phone) -> None:
    assert "No photo came" in phone.send_bytes(b"").sentence
    assert "not a photo" in phone.send_bytes(b"no photo at all" * 99).sentence


def test_a_form_without_script_sends_a_photo_too(phone: Phone) -> None:
    data = (FIXTURES / "kitchen-table.jpg").read_bytes()
    head = (
        b'--xx\r\nContent-Disposition: form-data; name="photo"; filename="<b>&.jpg"\r\n'
        b"Content-Type: image/jpeg\r\n\r\n"
    )
    kind = {"Content-Type": "multipart/form-data; boundary=xx"}
    at = phone.ask("/photo", "POST", head + data + b"\r\n--xx--\r\n", kind)
    assert at.status == 200
    assert at.url.startswith("/p/")
    assert "<b>" not in at.text


def test_a_correction_is_laid_over_the_reading(phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    blank = truth("kitchen-table.jpg")
    cell = next(c for c in range(81) if blank["givens"][c] == "." and blank["entries"][c] == ".")
    name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
    wrong = str(int(blank["solution"][cell]) % 9 + 1)
    asked = phone.ask(f"{at.url}/cell/{name}")
    assert "read as blank" in asked.text
    told = phone.press(at, do="wrote", answer=f"{name}=entry:{wrong}")
    checked = phone.press(told, do="check")
    assert phone.press(at, do="check").sentence != checked.sentence


UNFIT: list[dict[str, str]] = [
    {},
    {"do": "fly"},
    {"do": "tell"},
    {"do": "tell", "answer": "R0C1=1"},
    {"do": "tell", "answer": "2:R1C1=1"},
    {"do": "grid", "grid": "-1"},
    {"do": "grid", "grid": "99999999999999999999"},
]


@pytest.mark.parametrize("form", chosen(UNFIT, *UNFIT[1::4]))
def test_words_that_fit_no_button_change_nothing(phone: Phone, form: dict[str, str]) -> None:
    at = phone.send("kitchen-table.jpg")
    assert phone.press(at, **form).status == 400
    assert phone.ask(f"{at.url.rsplit('/', 1)[0]}/1").status == 404


def test_a_forgotten_photo_is_gone_at_once(phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    name = at.url.split("/")[2]
    assert phone.ask(f"/p/{name}/forget", "POST", b"").status == 200
    gone = phone.ask(at.url)
    assert gone.status == 404
    assert "no longer kept" in gone.sentence
    assert phone.ask(f"{at.url}/picture.jpg").status == 404


def test_a_second_phone_does_not_see_the_first_ones_photo(home: Home, phone: Phone) -> None:
    at = phone.send("kitchen-table.jpg")
    other = home.phone()
    assert other.ask(at.url).status == 404
    assert other.ask(f"{at.url}/picture.jpg").status == 404
    assert at.url not in other.ask("/").text


def test_the_page_itself_is_light() -> None:
    page = FIXTURES.parent / "cli/phone/page"
    weight = sum(path.stat().st_size for path in page.iterdir())
    assert weight < 100_000


def test_the_page_asks_no_other_host() -> None:
    page = FIXTURES.parent / "cli/phone/page"
    for path in page.iterdir():
        found = re.findall(r"(?:https?:)?//[\w.-]+", path.read_text("utf-8"))
        assert [one for one in found if "www.w3.org" not in one and not one.startswith("// ")] == []


def test_what_all_phones_keep_is_bounded_and_who_has_most_gives_way() -> None:
    from papernudge.cli.phone.memory import ALL_PHOTOS, PHOTOS, Memory

    memory = Memory(lambda: 0.0)
    many, few = memory.visitor(), memory.visitor()
    first = memory.keep(few, b"x", None)
    for n in range(PHOTOS + 3):
        memory.keep(many, bytes([n]), None)
    assert len(memory.photos(many)) == PHOTOS
    others = [memory.visitor() for _ in range(ALL_PHOTOS - 2)]
    for other in others:
        memory.keep(other, b"y", None)
    assert memory.find(few, first) is not None
    assert len(memory.photos(many)) == 1
    assert sum(len(memory.photos(one)) for one in (many, few, *others)) == ALL_PHOTOS


def test_photos_too_heavy_for_all_to_be_kept_push_out_the_oldest_of_who_has_most() -> None:
    from papernudge.cli.phone import memory as kept

    memory = kept.Memory(lambda: 0.0)
    one, other = memory.visitor(), memory.visitor()
    heavy = bytes(kept.BYTES // 3)
    names = [memory.keep(one, heavy, None) for _ in range(2)]
    last = memory.keep(other, heavy, None)
    memory.keep(other, heavy, None)
    assert memory.find(one, names[0]) is None
    assert memory.find(one, names[1]) is not None
    assert memory.find(other, last) is not None
    assert memory.weight <= kept.BYTES


def test_a_photo_is_forgotten_after_an_hour_unused() -> None:
    from papernudge.cli.phone.memory import FORGOTTEN, Memory

    now = [0.0]
    memory = Memory(lambda: now[0])
    visitor = memory.visitor()
    used, unused = (memory.keep(visitor, b"x", None) for _ in range(2))
    now[0] = FORGOTTEN - 1
    assert memory.find(visitor, used) is not None
    now[0] = FORGOTTEN + 1
    assert memory.photos(visitor) == [used]
    assert memory.find(visitor, unused) is None
    assert memory.knows(visitor)


def test_all_that_a_page_loads_but_its_photo_weighs_little(phone: Phone) -> None:
    at = phone.send("two-grids.jpg")
    for path in ("/", at.url, f"{at.url}/grids", f"{at.url}/blocks", f"{at.url}/cell/R1C1"):
        page = phone.ask(path)
        parts = set(re.findall(r'(?:href|src)="(/[\w.-]+\.(?:css|js|svg))"', page.text))
        assert parts == {"/look.css", "/page.js", "/mark.svg"}
        assert len(page.body) + sum(len(phone.ask(part).body) for part in parts) <= 100_000


def test_a_photo_of_more_than_sixty_megapixels_is_turned_away(phone: Phone) -> None:
    huge = cv2.imencode(".jpg", np.full((7600, 8000), 255, np.uint8))[1].tobytes()
    reply = phone.send_bytes(huge)
    assert "8000 × 7600 pixels, more than 60 million" in reply.sentence


@pytest.mark.slow
def test_large_photos_are_read_at_half_and_as_they_are_where_cells_are_small() -> None:
    from papernudge.cli.phone import work

    photo = cv2.imread(str(FIXTURES / "kitchen-table.jpg"))
    large = cv2.resize(photo, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    far = cv2.copyMakeBorder(large, 0, 0, 1500, 1500, cv2.BORDER_REPLICATE)
    for raster, reduced in ((large, 2), (far, 2)):
        page = work._read(cv2.imencode(".jpg", raster)[1].tobytes())
        assert page.photo is not None
        assert page.photo.reduced == reduced
        assert page.grids[0].givens == truth("kitchen-table.jpg")["givens"]
    six = cv2.imread(str(FIXTURES / "six-grids.jpg"))
    grown = cv2.resize(six, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    page = work._read(cv2.imencode(".jpg", grown)[1].tobytes())
    assert page.photo is not None
    assert page.photo.reduced == 1


def test_the_page_speaks_what_the_browser_likes_best_until_another_is_chosen(home: Home) -> None:
    phone = home.phone()
    likes = {"Accept-Language": "pl, en;q=0.5"}
    first = phone.ask("/", headers=likes)
    assert '<html lang="pl">' in first.text
    assert first.sentence == words_in("pl").say("home, head")
    assert '<html lang="en">' in phone.ask("/").text
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    chosen = phone.ask("/language", "POST", b"language=de", likes | kind)
    assert chosen.sentence == words_in("de").say("home, head")
    at = phone.send("kitchen-table.jpg")
    assert at.sentence == words_in("de").say("follow digit", digit=2)
    phone.ask("/language", "POST", b"language=it", kind)
    assert phone.ask(at.url).sentence == words_in("it").say("follow digit", digit=2)
    assert phone.ask("/language", "POST", b"language=klingon", kind).status == 400


@pytest.mark.slow
@pytest.mark.parametrize("language", ["de", "ja"])
def test_what_is_wrong_with_a_photo_is_told_in_the_visitors_language(
    home: Home, language: str
) -> None:
    phone = home.phone()
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    phone.ask("/language", "POST", f"language={language}".encode(), kind)
    words = words_in(language)
    said = phone.send("no-grid.jpg").sentence
    assert html.unescape(said).startswith(words.say("no grid made out", advice="").strip())
