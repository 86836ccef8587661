"""Photographs taken without a network are kept, and sent once, after the readings."""

from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from checks.models import Decision, Finding, Photograph
from checks.services.file_store import load_file
from checks.services.findings import decide_finding
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from tests.browser.conftest import beside, sign_in, stored, walk
from tests.checks.conftest import entry
from tests.checks.services.test_image_normalisation import alike, corners, open_image
from tests.images import CORNERS, drawn, encoded, photo

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
READINGS = "**/buildings/*/readings/"
PHOTOGRAPHS = "**/buildings/*/photographs/"
SNAP = "[data-snap][name=photograph-0]"


def photographs() -> list[Photograph]:
    rows = Photograph.objects.select_related("reading").order_by("pk")
    return beside(lambda: list(rows))


def picture(content: bytes | None = None, name: str = "plate.jpg") -> Any:
    buffer = photo() if content is None else content
    return {"name": name, "mimeType": "image/jpeg", "buffer": buffer}


def snap(page: Page, content: bytes | None = None) -> None:
    page.set_input_files(SNAP, picture(content))


def test_a_photograph_taken_offline_is_kept_and_arrives_once(
    page: Page, live_server: Any, building: Building, field_lead: Person
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.context.set_offline(True)
    snap(page)
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("1 photograph waits on this phone")
    page.fill("[data-snapped] input", "Tape at corner A")
    page.click("[data-snapped] button:text-is('Done')")
    expect(page.locator("[data-snapped]").first).to_contain_text("Tape at corner A")
    assert not photographs()
    page.context.set_offline(False)
    expect(banner).to_be_hidden()
    expect(page.locator(".entry").first).to_contain_text("1 photograph")
    (kept,) = photographs()
    assert (kept.caption, kept.check_key) == ("Tape at corner A", "wall:A-B")
    assert kept.recorded_by_id == field_lead.pk
    assert all(map(alike, corners(open_image(load_file(kept.digest))), CORNERS))


def test_it_is_made_smaller_and_upright_before_it_is_kept(
    page: Page, live_server: Any, building: Building
) -> None:
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was held upright: to be turned clockwise
    exif[0x010F] = "Maker of the phone"
    lying = drawn(3000, 1500).transpose(Image.Transpose.ROTATE_90)
    turned = lying.transpose(Image.Transpose.ROTATE_90)
    walk(page, live_server.url, building, "wall:A-B")
    sent: list[bytes] = []
    page.on("request", lambda asked: sent.append(asked.post_data_buffer or b""))
    snap(page, encoded(turned, exif=exif))
    page.click("[data-snapped] button:text-is('Done')")
    expect(page.locator(".entry").first).to_contain_text("1 photograph")
    (kept,) = photographs()
    assert (kept.width, kept.height) == (1000, 2000)
    assert not any(b"Maker of the phone" in body for body in sent)
    colours = corners(open_image(load_file(kept.digest)))
    assert all(map(alike, colours, corners(lying)))


def test_photographs_go_after_the_readings_they_are_of(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    asked: list[str] = []
    page.on("request", lambda each: each.method == "POST" and asked.append(each.url))
    page.context.set_offline(True)
    page.fill("[name=typed-0]", "66'")
    snap(page)
    expect(page.locator("#outbox")).to_contain_text("1 photograph waits")
    page.click("button:text-is('Record')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("1 reading and 1 photograph wait on this phone")
    expect(banner).to_contain_text("when there is a network")
    asked.clear()
    page.context.set_offline(False)
    expect(banner).to_be_hidden()
    assert [address.split("/")[-2] for address in asked] == ["readings", "photographs"]
    (kept,) = photographs()
    (reading,) = stored()
    assert kept.reading == reading


def test_an_answer_that_was_lost_does_not_store_a_photograph_twice(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")

    def lose(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route(PHOTOGRAPHS, lose, times=1)
    snap(page)
    page.click("[data-snapped] button:text-is('Done')")
    expect(page.locator("#outbox")).to_contain_text("when there is a network")
    assert len(photographs()) == 1
    page.click("[data-send]")
    expect(page.locator("#outbox")).to_be_hidden()
    assert len(photographs()) == 1


def test_a_photograph_is_there_when_the_page_is_opened_again(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.route(PHOTOGRAPHS, lambda route: route.abort())
    snap(page)
    page.fill("[data-snapped] input", "Half a capt")
    walk(page, live_server.url, building, "levels")
    expect(page.locator("#outbox")).to_contain_text("1 photograph waits")
    walk(page, live_server.url, building, "wall:A-B")
    expect(page.locator("[data-snapped] img").first).to_be_visible()
    page.unroute(PHOTOGRAPHS)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#outbox")).to_be_hidden()
    (kept,) = photographs()
    assert kept.caption == "Half a capt"


def test_nobody_sends_what_another_person_photographed(
    page: Page,
    live_server: Any,
    building: Building,
    operations: Person,
    field_lead: Person,
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.route(PHOTOGRAPHS, lambda route: route.abort())
    snap(page)
    page.click("[data-snapped] button:text-is('Done')")
    expect(page.locator("#outbox")).to_contain_text("1 photograph waits")
    other = page.context.new_page()
    other.context.clear_cookies()
    sign_in(other, live_server.url, operations)
    page.unroute(PHOTOGRAPHS)
    page.click("[data-send]")
    expect(page.locator("#outbox")).to_contain_text("Another person has signed in")
    walk(other, live_server.url, building, "wall:A-B")
    told = f"1 photograph of {field_lead} stays here"
    expect(other.locator("#outbox")).to_contain_text(told)
    assert not photographs()
    other.context.clear_cookies()
    sign_in(other, live_server.url, field_lead)
    walk(other, live_server.url, building, "wall:A-B")
    expect(other.locator(".entry").first).to_contain_text("1 photograph")
    expect(other.locator("#outbox")).to_be_hidden()
    (kept,) = photographs()
    assert kept.recorded_by_id == field_lead.pk


def test_what_is_refused_of_its_check_is_sent_as_one_of_the_place(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.eval_on_selector(".entry", "line => { line.dataset.check = 'wall:A-X'; }")
    snap(page)
    page.click("[data-snapped] button:text-is('Done')")
    banner = page.locator("#outbox")
    expect(banner).to_contain_text("was refused")
    page.click("text=Send without the check")
    expect(banner).to_be_hidden()
    (kept,) = photographs()
    assert kept.check_key == ""


def test_what_is_no_picture_is_told_at_once(
    page: Page, live_server: Any, building: Building
) -> None:
    walk(page, live_server.url, building, "wall:A-B")
    page.set_input_files(SNAP, picture(b"?", "far.heic"))
    alert = page.locator("[data-snapped] [role=alert]")
    expect(alert).to_contain_text("Set the camera to JPEG")
    expect(page.locator("#outbox")).to_be_hidden()


def test_without_room_in_the_browser_the_form_takes_it(
    page: Page, live_server: Any, building: Building
) -> None:
    page.add_init_script("IDBFactory.prototype.open = () => { throw new Error(); };")
    walk(page, live_server.url, building, "wall:A-B")
    snap(page)
    expect(page.locator("[data-snapped]").first).to_contain_text("“Record” sends it")
    page.fill("[name=typed-0]", "66'")
    page.click("button:text-is('Record')")
    expect(page.locator(".alerts")).to_contain_text("1 reading and 1 photograph")
    assert len(photographs()) == len(stored()) == 1


@pytest.fixture
def made(building: Building, field_lead: Person, engineer: Person) -> Decision:
    low = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]

    def decided() -> Decision:
        record_readings(actor=field_lead, building=building, entries=low)
        return decide_finding(
            actor=engineer,
            finding=Finding.objects.get(),
            choice=0,
            disposition="rework",
            note="Shim.",
        )

    return beside(decided)


def test_photographs_of_work_are_chosen_taken_off_and_sent_smaller(
    made: Decision, page: Page, live_server: Any
) -> None:
    address = reverse("checks:finding", args=[made.finding_id])
    page.goto(f"{live_server.url}{address}")
    form = page.locator("form[action$='carried-out/']")
    several = [picture(photo(3000, 1500), "one.jpg"), picture(photo(60), "two.jpg")]
    form.locator("[data-choose]").set_input_files(several)
    expect(form.locator("[data-chosen] img")).to_have_count(2)
    form.locator("[data-take]").set_input_files(picture(photo(40, 40), "three.jpg"))
    expect(form.locator("[data-chosen] img")).to_have_count(3)
    form.locator("[data-choose]").set_input_files(picture(b"?", "four.heic"))
    expect(form.locator("[data-told]")).to_contain_text("four.heic: HEIC images")
    form.locator("button:text-is('Remove')").nth(1).click()
    expect(form.locator("[data-chosen] img")).to_have_count(2)
    form.locator("[name=at]").evaluate(
        "field => { field.value = new Date().toISOString().slice(0, 16); }"
    )
    form.locator("[name=caption]").fill("Shims in place")
    form.locator("button[type=submit]").click()
    expect(page.locator(".alerts")).to_contain_text("Work reported")
    expect(page.locator(".card .photograph-grid a img")).to_have_count(2)
    sizes = [(kept.width, kept.height) for kept in photographs()]
    assert sizes == [(2000, 1000), (40, 40)]
