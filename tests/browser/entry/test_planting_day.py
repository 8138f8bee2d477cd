"""What is planted on a phone stands in the base's register once it is handed in."""

from __future__ import annotations

from playwright.sync_api import expect

from fieldkit.base import Base
from tests.browser.entry.conftest import Phone, Phones, Shore


def plant(phone: Phone, tag: str) -> None:
    phone.tap("Add a coral that is not listed")
    phone.page.get_by_label("Tag, as it was read").fill(tag)
    phone.page.get_by_label("Genotype").select_option(label="AMUR-03")
    phone.tap("Add", "Attached with")
    phone.tap("Cement")
    expect(phone.words).to_have_text("Attached with: Cement")


def test_a_planting_session_of_a_phone_makes_corals_in_the_register(phones: Phones, own_shore: Shore) -> None:
    phone = phones(at=own_shore).pair()
    phone.page.goto(f"{own_shore.address}/enter/#new")
    phone.page.get_by_label("What is recorded").select_option(label="Outplanting")
    phone.page.get_by_label("Site").select_option(label="Ray Steps")
    phone.key("RAY-11").click()
    phone.page.get_by_label("Recorder").fill("KT")
    phone.key("Begin").click()
    phone.tap("Add corals")
    phone.page.get_by_label("Tags, with their genotype").fill("Z901-Z902, AMUR-03")
    phone.tap("Cement", "Add 2 corals")
    expect(phone.words).to_have_text("Attached with: Cement")
    phone.page.goto(f"{own_shore.address}/enter/")
    phone.tap("Hand in")
    expect(phone.page.locator(".total")).to_contain_text("Nothing is on this device only")
    with Base(own_shore.folder).view() as view:
        corals = view.corals(view.corals_tagged("Z901") | view.corals_tagged("Z902"))
        plots, genotypes = view.things("plot"), view.things("genotype")
    told = {(plots[str(one["plot"])]["name"], genotypes[str(one["genotype"])]["accession"], one["method"]) for one in corals}
    assert (len(corals), told) == (2, {("RAY-11", "AMUR-03", "cement")})
    assert all(one["planted_on"] for one in corals)
