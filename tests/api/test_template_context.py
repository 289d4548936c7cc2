"""Every template uses what its page declares, and nothing else: a misspelt or a leftover name fails here."""

from dataclasses import fields
from pathlib import Path

import pytest
from jinja2 import nodes
from jinja2.meta import find_undeclared_variables

from api.pages.account import AccountPage
from api.pages.against_facts import AgainstFactsPage
from api.pages.approval import ApprovalPage
from api.pages.assumptions import AssumptionsPage
from api.pages.brakes import BrakePage, FindPage
from api.pages.bring_in import BringInPage, LoadPage, UploadPage
from api.pages.changeouts import ChangeOutsPage
from api.pages.claims import ClaimsPage
from api.pages.corrections import ListPage, RecordPage
from api.pages.cost import CostPage
from api.pages.editions import EditionPage, EditionsPage
from api.pages.entry_quality import CheckPage, QualityPage
from api.pages.events import EventsPage
from api.pages.frame import TEMPLATES, ErrorPage, Frame, environment
from api.pages.held import HeldPage
from api.pages.landings import LandingsPage
from api.pages.model_fit import ModelFitPage
from api.pages.move_brake import BrakeMovePage
from api.pages.moves import FormPage, MovesPage
from api.pages.people import PeoplePage
from api.pages.pins import ChoicePage, PinsPage
from api.pages.provider import OnwardPage
from api.pages.readings_due import ReadingsDuePage
from api.pages.removals import RemovalsPage
from api.pages.retrofit import RetrofitPage
from api.pages.sheets import SheetsPage
from api.pages.sign_in import SignInPage
from api.pages.spares import SparesPage
from api.pages.today import TodayPage
from api.pages.wear_drivers import WearDriversPage

PAGES = {
    "today.html": TodayPage,
    "entry_quality.html": QualityPage,
    "second_typing.html": CheckPage,
    "brakes.html": FindPage,
    "brake.html": BrakePage,
    "held.html": HeldPage,
    "pins.html": PinsPage,
    "pins_choice.html": ChoicePage,
    "events.html": EventsPage,
    "bring_in.html": BringInPage,
    "upload.html": UploadPage,
    "load.html": LoadPage,
    "landings.html": LandingsPage,
    "sheets.html": SheetsPage,
    "moves.html": MovesPage,
    "move.html": FormPage,
    "move_brake.html": BrakeMovePage,
    "corrections.html": ListPage,
    "correction.html": RecordPage,
    "changeouts.html": ChangeOutsPage,
    "spares.html": SparesPage,
    "cost.html": CostPage,
    "claims.html": ClaimsPage,
    "against_facts.html": AgainstFactsPage,
    "model_fit.html": ModelFitPage,
    "readings_due.html": ReadingsDuePage,
    "removals.html": RemovalsPage,
    "wear_drivers.html": WearDriversPage,
    "retrofit.html": RetrofitPage,
    "editions.html": EditionsPage,
    "edition.html": EditionPage,
    "assumptions.html": AssumptionsPage,
    "approval.html": ApprovalPage,
    "error.html": ErrorPage,
    "account.html": AccountPage,
    "onward.html": OnwardPage,
    "people.html": PeoplePage,
    "sign_in.html": SignInPage,
}


def parsed(name):
    return environment().parse(Path(TEMPLATES, name).read_text(encoding="utf-8"))


def used_of(name, variable):
    found = set()
    for each in parsed(name).find_all(nodes.Getattr):
        if isinstance(each.node, nodes.Name) and each.node.name == variable:
            found.add(each.attr)
    return found


def test_every_template_has_a_declared_page():
    assert {path.name for path in TEMPLATES.glob("*.html") if not path.name.startswith("_")} == set(PAGES)


@pytest.mark.parametrize("name", PAGES)
def test_a_template_uses_exactly_what_its_page_declares(name):
    assert used_of(name, "page") | {"frame"} == {field.name for field in fields(PAGES[name])}


def own_names_of(name):
    """Macros that a template imports or defines."""
    taken = {each for one in parsed(name).find_all(nodes.FromImport) for each in one.names}
    modules = {one.target for one in parsed(name).find_all(nodes.Import)}
    return taken | modules | {one.name for one in parsed(name).find_all(nodes.Macro)}


@pytest.mark.parametrize("name", PAGES)
def test_a_template_knows_no_other_name(name):
    known = {"page", *environment().globals, *own_names_of(name)}
    assert find_undeclared_variables(parsed(name)) <= known


def test_the_frame_uses_only_what_it_declares():
    declared = {field.name for field in fields(Frame)} | {
        name for name in dir(Frame) if not name.startswith("_")
    }
    assert used_of("_frame.html", "frame") <= declared


def test_every_filter_of_the_templates_exists():
    for path in TEMPLATES.glob("*.html"):
        filters = {each.name for each in parsed(path.name).find_all(nodes.Filter)}
        assert filters <= set(environment().filters), path.name
