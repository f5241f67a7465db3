"""Every staff page, in every look, by axe; no page scrolls sideways on a phone (promise S6)."""

import re
from collections.abc import Callable, Iterator
from functools import partial

import pytest
from playwright.sync_api import Browser, FilePayload, Page, expect

from clinic.demo.people import BY_MRN
from clinic.demo_scenario import TO_IMPORT
from clinic.models import Role
from tests.conftest import PageAt
from tests.journeys.at_the_desk import (
    AT_HOME,
    BEFORE,
    follow,
    in_days,
    module_on_record,
    open_operation,
    open_record,
    pair_of,
    preview_schedule,
    row_of,
    sign_in,
)
from tests.journeys.audit import LOOKS, look_at, sideways, violations
from tests.journeys.conftest import PATIENCE, Desk, Watch
from tests.site import RunningSite

Way = Callable[[Page], object]

# Parts of clinic/demo/story.py.
CLEARED, SIGN_OFF, LATE, TEACH_BACK = "TF-30112", "TF-30102", "TF-30105", "TF-30110"
MARRIED_NAME, NO_EMAIL, USUAL, AGAINST_HOLD = "TF-30122", "TF-30117", "TF-30149", "TF-30130"
TWICE, FORMER_NAME = "TF-30165", "TF-30155"


def at(address: str) -> Way:
    """The page with this address."""
    return lambda page: page.goto(address)


def record(mrn: str) -> Way:
    """A patient's page."""
    return lambda page: open_record(page, mrn)


def operation(mrn: str) -> Way:
    """An operation's page, with everything on it unfolded."""

    def way(page: Page) -> None:
        open_operation(page, mrn)
        unfold(page)

    return way


def unfold(page: Page) -> None:
    """Open whatever is folded."""
    page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true; })")


def from_record(mrn: str, link: str, module: str = BEFORE) -> Way:
    """What a link at a module leads to, on a patient's page."""

    def way(page: Page) -> None:
        open_record(page, mrn)
        follow(module_on_record(page, module).get_by_role("link", name=re.compile(link)).first)

    return way


def morning_unfolded(page: Page) -> None:
    """The morning list with its filters and its forms open."""
    page.goto("/morning/?standing=due")
    unfold(page)


def morning_after_an_act(page: Page) -> None:
    """The morning list as one is back at the row."""
    page.goto("/morning/?mail=failed")
    row_of(page, "TF-30126", AT_HOME).get_by_text("Call, then log it").click()
    row_of(page, "TF-30126", AT_HOME).get_by_role("button", name="No answer").click()
    expect(page.locator("table.list").get_by_role("status")).to_be_visible()


def contact_with_errors(page: Page) -> None:
    """A form that was sent back."""
    open_record(page, LATE)
    page.get_by_role("link", name="Log a contact").first.click()
    page.get_by_label("Try again on").fill("2001-01-01")
    page.get_by_role("button", name="Log this contact").click()
    expect(page.locator("#problems")).to_be_visible()


def several(page: Page) -> None:
    """Who would get a link, and who cannot."""
    page.goto("/morning/")
    for mrn in (LATE, NO_EMAIL):
        row_of(page, mrn, BEFORE).get_by_role("checkbox").check()
    follow(page.get_by_role("button", name="Send link to those ticked"))


def several_sent(page: Page) -> None:
    """The links that go out in a minute, taken back."""
    several(page)
    follow(page.get_by_role("button", name="Send 1 link"))
    follow(page.get_by_role("button", name="Take 1 back"))


def undecided(page: Page) -> None:
    """Whose quiz is this?"""
    page.goto("/submissions/")
    follow(page.get_by_role("link", name="Saoirse Lindgren"))


def undecided_sent_back(page: Page) -> None:
    """A decision without a choice, below what a search found: the note is kept."""
    undecided(page)
    page.get_by_label("Search the register").fill("an")
    follow(page.get_by_role("button", name="Search"))
    page.locator("form.whose").evaluate("form => { form.noValidate = true; }")
    page.get_by_label("Note: how you know").fill("No answer at noon.")
    page.get_by_role("button", name=re.compile("^Decide")).click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was decided yet")


def decided(page: Page) -> None:
    """A submission that was decided, with the undoing unfolded."""
    page.goto("/submissions/")
    follow(page.locator("table.submissions").get_by_role("link").first)
    unfold(page)


def undone_meanwhile(page: Page) -> None:
    """Undoing on a page that is older than the decision."""
    decided(page)
    page.locator("[name=decision]").evaluate("one => { one.value = '0'; }")
    page.get_by_label("Reason").fill("Her sister took it.")
    page.get_by_role("button", name="Undo the decision").click()
    expect(page.get_by_role("alert")).to_contain_text("Somebody decided meanwhile")


def pairs(page: Page) -> None:
    """Likely duplicates, with the forms open."""
    pair_of(page, TWICE)
    unfold(page)


def pair_merged(page: Page, *, sent_back: bool = False) -> None:
    """Two records side by side before they are merged."""
    follow(pair_of(page, TWICE).get_by_role("link", name=re.compile("^Merge")))
    if sent_back:
        page.get_by_role("button", name=re.compile("^Merge, and keep")).click()
        expect(page.locator("#problems")).to_be_visible()


def pair_apart(page: Page) -> None:
    """Two records on their own page before they are kept apart."""
    pair_merged(page)
    page.goto(page.url.split("?")[0].replace("/merge/", "/keep-apart/"))


def same_person(page: Page) -> None:
    """The search for the other record of a patient."""
    open_record(page, TWICE)
    page.get_by_role("link", name="Same person as another record").click()
    page.get_by_label("Find the other record").fill("Nwosu")
    follow(page.get_by_role("button", name="Find"))


def name_kept_wrong(page: Page) -> None:
    """Another name, sent back."""
    open_record(page, FORMER_NAME)
    page.get_by_role("link", name="Keep another name").click()
    page.get_by_role("button", name="Keep this name").click()
    expect(page.locator("#problems")).to_be_visible()


def name_changed(page: Page) -> None:
    """A correction that asks what the earlier name was."""
    open_record(page, FORMER_NAME)
    page.get_by_role("link", name="Correct the record").click()
    page.get_by_label("Family names").fill("Okonjo")
    page.get_by_role("button", name="Correct it").click()
    expect(page.locator("#problems")).to_contain_text("The earlier name")


def stale(page: Page) -> None:
    """An act on a page that is older than the record."""
    open_operation(page, USUAL)
    page.locator("[name=seen]").evaluate_all("all => all.forEach(one => { one.value = 'old'; })")
    page.get_by_role("button", name=re.compile("^Confirm")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("This changed while you looked")


def against_hold_with_errors(page: Page) -> None:
    """The operation's page after a form without a name and a reason."""
    open_operation(page, LATE)
    unfold(page)
    page.locator("form").evaluate_all("forms => forms.forEach(form => form.noValidate = true)")
    page.get_by_role("button", name=re.compile("against the hold$")).click()
    expect(page.locator("[role=alert]")).to_be_visible()


def move(page: Page) -> None:
    """What another date would do."""
    open_operation(page, USUAL)
    page.get_by_role("link", name="Move or postpone").click()
    page.get_by_label("New OR date").fill(in_days(120).isoformat())
    follow(page.get_by_role("button", name="Show what this would do"))


def requirement(page: Page) -> None:
    """One requirement."""
    page.goto("/requirements/")
    follow(page.get_by_role("main").locator("a[href^='/requirements/']").first)


def colleague(page: Page) -> None:
    """Another member of staff."""
    page.goto("/staff/")
    follow(page.get_by_role("main").locator("a[href^='/staff/']").first)


def wrong_settings(page: Page) -> None:
    """The programme's settings, sent back."""
    page.goto("/programme/")
    page.get_by_label("Time zone").fill("Somewhere/Else")
    page.get_by_role("main").get_by_role("button").first.click()
    expect(page.get_by_role("main")).to_contain_text("There is no such time zone")


def calendar_feed(page: Page) -> None:
    """The address of a calendar, just made."""
    page.goto("/calendar/")
    page.get_by_role("button", name="address").click()
    expect(page.get_by_label("Address")).to_be_visible()


def module(page: Page) -> None:
    """One module as it is published."""
    page.goto("/modules/")
    follow(page.get_by_role("main").get_by_role("link").first)


def draft(page: Page) -> None:
    """The next edition of a module, being written."""
    module(page)
    main = page.get_by_role("main")
    follow(main.get_by_text(re.compile("(Write|Go on writing) the next edition")))


def draft_question(page: Page) -> None:
    """One question of it, with something wrong."""
    draft(page)
    page.locator("section[aria-labelledby=questions] li a").first.click()
    page.get_by_label("Question, English").fill("")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("main")).to_contain_text("cannot be published like this yet")


def rehearsed(page: Page) -> None:
    """What the matching rule would have made of the past."""
    page.goto("/programme/")
    page.get_by_role("link", name="Try the matching").click()
    page.get_by_role("button", name="Try it on past submissions").click()
    expect(page.get_by_role("heading", name="what the rule would have done")).to_be_visible()
    expect(page.locator(".notice", has_text="A person took back 1 match")).to_be_focused()


def rehearsal_with_errors(page: Page) -> None:
    """Files of which something is wrong."""
    page.goto("/matching/try/")
    header = "given_name,family_name,date_of_birth"
    for label, text in (
        ("Register file", f"patient_id,{header}\n1,Ana,Ruiz,1980-02-30\n1,Bo,Falk,soon\n"),
        ("Claims file", f"claim_id,{header}\n1,Ana,Ruiz\n"),
    ):
        file = FilePayload(name="file.csv", mimeType="text/csv", buffer=text.encode())
        page.get_by_label(label).set_input_files(file)
    page.get_by_role("button", name="Show the result").click()
    expect(page.get_by_role("alert")).to_be_focused()


DIETITIAN, CLINICIAN, COORDINATOR = Role.DIETITIAN, Role.CLINICIAN, Role.COORDINATOR
ADMINISTRATOR, AUDITOR = Role.ADMINISTRATOR, Role.AUDITOR

PAGES: tuple[tuple[str, Role, Way], ...] = (
    ("morning list", DIETITIAN, at("/morning/")),
    ("morning list, unfolded", DIETITIAN, morning_unfolded),
    ("morning list, after an act", DIETITIAN, morning_after_an_act),
    ("morning list, nothing matches", DIETITIAN, at("/morning/?q=nobody+has+this+name")),
    ("morning list of a coordinator", COORDINATOR, at("/morning/?standing=needs_sign_off")),
    ("patient, cleared by teach-back", DIETITIAN, record(CLEARED)),
    ("patient as they stood before", DIETITIAN, at(f"/patients/1/?on={in_days(-20)}")),
    ("patient, to a clinician", CLINICIAN, record(SIGN_OFF)),
    ("call sheet", DIETITIAN, from_record(TEACH_BACK, "Call sheet")),
    ("call sheet, no quiz", DIETITIAN, from_record(LATE, "Call sheet")),
    ("waive", CLINICIAN, from_record(LATE, "Waive")),
    ("revoke a clearance", DIETITIAN, from_record(CLEARED, "Revoke the clearance")),
    ("correct the record", DIETITIAN, at("/patients/1/correct/")),
    ("contact, sent back", DIETITIAN, contact_with_errors),
    ("send to several", DIETITIAN, several),
    ("sent to several", DIETITIAN, several_sent),
    ("submissions", DIETITIAN, at("/submissions/")),
    ("submission, undecided", DIETITIAN, undecided),
    ("submission, undecided, to an auditor", AUDITOR, undecided),
    ("submission, sent back", DIETITIAN, undecided_sent_back),
    ("submission, decided", DIETITIAN, decided),
    ("submission, decided meanwhile", DIETITIAN, undone_meanwhile),
    ("submissions, decided", DIETITIAN, at("/submissions/?show=decided")),
    ("likely duplicates", DIETITIAN, pairs),
    ("likely duplicates, to an auditor", AUDITOR, at("/patients/duplicates/")),
    ("merge", DIETITIAN, pair_merged),
    ("merge, sent back", DIETITIAN, partial(pair_merged, sent_back=True)),
    ("keep apart", ADMINISTRATOR, pair_apart),
    ("same person as another record", DIETITIAN, same_person),
    ("patient with a former name", DIETITIAN, record(FORMER_NAME)),
    ("another name, sent back", DIETITIAN, name_kept_wrong),
    ("end a name", DIETITIAN, at("/names/1/end/")),
    ("correction of a name, sent back", DIETITIAN, name_changed),
    ("operations of a week", COORDINATOR, at(f"/operations/?week={in_days(14)}")),
    ("operations of a day", COORDINATOR, at(f"/operations/?day={in_days(14)}")),
    ("calendar feed", COORDINATOR, calendar_feed),
    ("operations found", COORDINATOR, at("/operations/?q=01%2F02%2F1980")),
    ("operations without a date", COORDINATOR, at("/operations/?show=without-date")),
    ("operation, confirm", COORDINATOR, operation(USUAL)),
    ("operation, hold", COORDINATOR, operation(LATE)),
    ("operation, against a hold", COORDINATOR, operation(AGAINST_HOLD)),
    ("operation, sent back", COORDINATOR, against_hold_with_errors),
    ("operation, changed meanwhile", COORDINATOR, stale),
    ("operation, another date", COORDINATOR, move),
    ("import", COORDINATOR, at("/schedule/import/")),
    ("modules", DIETITIAN, at("/modules/")),
    ("module", DIETITIAN, module),
    ("draft of a module", DIETITIAN, draft),
    ("question of a draft", DIETITIAN, draft_question),
    ("quiz measured, sent back", DIETITIAN, at("/modules/before-operation/quiz/?first_day=x")),
    ("how it reads", AUDITOR, at("/modules/before-operation/reading/?language=es")),
    ("clear communication", DIETITIAN, at("/modules/before-operation/clear/?ask=1&item_1=no")),
    ("requirements", ADMINISTRATOR, at("/requirements/")),
    ("requirement", ADMINISTRATOR, requirement),
    ("programme, sent back", ADMINISTRATOR, wrong_settings),
    ("try the matching", DIETITIAN, at("/matching/try/")),
    ("try the matching, tried", ADMINISTRATOR, rehearsed),
    ("try the matching, sent back", CLINICIAN, rehearsal_with_errors),
    ("systems that send", ADMINISTRATOR, at("/intake/tokens/")),
    ("staff", ADMINISTRATOR, at("/staff/")),
    ("staff member", ADMINISTRATOR, colleague),
    ("password", AUDITOR, at("/password/")),
    ("trail", AUDITOR, at("/trail/")),
    ("refused", AUDITOR, at("/schedule/import/")),
    ("not found", DIETITIAN, at("/nowhere/")),
)


@pytest.fixture(scope="module")
def seats(browser: Browser, running_site: RunningSite) -> Iterator[tuple[dict[Role, Page], Watch]]:
    """One page for each role, and what is watched on it: a new browser for each test takes long."""
    pages: dict[Role, Page] = {}
    yield pages, Watch(running_site)
    for page in pages.values():
        page.context.close()


@pytest.fixture
def desk(
    seats: tuple[dict[Role, Page], Watch], browser: Browser, running_site: RunningSite
) -> Iterator[Desk]:
    """The page of a role, signed in; it goes from one test to the next."""
    pages, watch = seats

    def sit_down(role: Role) -> Page:
        if role not in pages:
            context = browser.new_context(base_url=running_site.url)
            pages[role] = context.new_page()
            pages[role].set_default_timeout(PATIENCE)
            watch.over(context)
            sign_in(pages[role], role)
        look_at(pages[role], LOOKS[0])
        return pages[role]

    yield sit_down
    seen, watch.seen = watch.seen, []
    assert seen == []


@pytest.mark.parametrize(
    "role, way, forced",
    # They share one stylesheet: with the browser's own colours every fourth is looked at.
    [pytest.param(*page, n % 4 == 0, id=name) for n, (name, *page) in enumerate(PAGES)],
)
def test_staff_page(desk: Desk, role: Role, way: Way, *, forced: bool) -> None:
    page = desk(role)
    way(page)
    assert violations(page, forced=forced) == []
    assert sideways(page, 360) == 0


def test_schedule_preview(running_site: RunningSite, desk: Desk) -> None:
    page = desk(Role.COORDINATOR)
    preview_schedule(page, (running_site.data / TO_IMPORT).read_bytes())
    expect(page.get_by_role("heading", name=re.compile("^Rejected"))).to_be_visible()
    assert violations(page) == []
    assert sideways(page, 360) == 0


def test_saying_how_a_schedule_is_read(desk: Desk) -> None:
    """Columns that nobody knows, sent back once; then words that nobody knows."""
    page = desk(Role.COORDINATOR)
    page.goto("/schedule/import/")
    rows = (
        b"Akte,Nachname,Vorname,Geb.,Was,Wann\nX-1,Silva,Ana,1980-02-03,Sleeve (lap),02/03/2027\n"
    )
    file: FilePayload = {"name": "week.csv", "mimeType": "text/csv", "buffer": rows}
    page.get_by_label("Schedule file").set_input_files(file)
    page.get_by_role("button", name="Show what it would change").click()
    for heading, column in (("Akte", "MRN"), ("Nachname", "MRN"), ("Vorname", "first name")):
        page.get_by_label(heading).select_option(column)
    page.get_by_role("button", name="Keep these columns").click()
    expect(page.get_by_role("alert")).to_contain_text("is chosen for “Akte” too")
    assert violations(page) == []
    assert sideways(page, 360) == 0
    known = (("Nachname", "last name"), ("Geb.", "date of birth"), ("Was", "procedure"))
    for heading, column in (*known, ("Wann", "OR date")):
        page.get_by_label(heading).select_option(column)
    page.get_by_role("button", name="Keep these columns").click()
    page.get_by_role("link", name="Say what words mean").click()
    expect(page.get_by_label("Sleeve (lap)")).to_be_visible()
    assert violations(page) == []
    assert sideways(page, 360) == 0


def test_undoing_a_merge(desk: Desk) -> None:
    """Merge, look at what stands there then, and undo it, so that the pair is there again."""
    page = desk(Role.DIETITIAN)
    pair_merged(page)
    page.get_by_label("How you know that they are one person").fill("Asked her.")
    page.get_by_role("button", name=re.compile("^Merge, and keep")).click()
    page.get_by_role("link", name=re.compile("^Undo the merge")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Undo a merge")
    assert violations(page) == []
    assert sideways(page, 360) == 0
    page.get_by_label("Reason").fill("Two people.")
    page.get_by_role("button", name="Undo the merge").click()
    page.goto("/patients/duplicates/")
    expect(page.get_by_role("main")).to_contain_text("Two people.")
    assert violations(page) == []
    assert sideways(page, 360) == 0


def test_sign_in_page(page_at: PageAt) -> None:
    page = page_at(1280)
    page.goto("/sign-in/")
    assert violations(page) == []
    page.get_by_label("Email address").fill(BY_MRN[LATE].email)
    page.get_by_label("Password").fill("a wrong password")
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator("[role=alert]")).to_be_visible()
    assert violations(page) == []
    assert sideways(page, 360) == 0
