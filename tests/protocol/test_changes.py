"""What a new version changes for old observations."""

from __future__ import annotations

import pytest

from fieldkit import messages
from fieldkit.protocol import Protocol, changes, read_protocol

NEW = '[[field]]\nname = "colour"\nof = "coral"\nkind = "text"\nlabel = { en = "Colour", es = "Color" }\n\n[all_well]'
DEPTH = (
    '[[field]]\nname = "depth_m"\nof = "head"\nkind = "number"\nunit = "m"\nrole = "depth"\n'
    'label = { en = "Depth", es = "Profundidad" }\n'
)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("version = 3", "version = 1", "version_not_higher"),
        (DEPTH, "", "field_gone"),
        ('name = "depth_m"', 'name = "deepness"\nwas = "depth_m"', "field_renamed"),
        ("[all_well]", NEW, "field_new"),
        ('kind = "text"', 'kind = "flag"', "kind_changed"),
        ('unit = "m"', 'unit = "[ft_i]"', "unit_changed"),
        ('role = "size"\n', "", "role_changed"),
        ('value = "bands"', 'value = "rings", was = "bands"', "value_renamed"),
        ('value = "bands"', 'value = "rings"', "value_gone"),
        ('same_visit = "P2D"', 'same_visit = "P1D"', "same_visit_changed"),
    ],
)
def test_what_changes_for_old_observations_is_told(
    old: str, new: str, told: str, every_kind: Protocol, every_kind_text: str
) -> None:
    text = every_kind_text.replace("version = 2", "version = 3")
    assert old in text
    found = changes(every_kind, read_protocol(text.replace(old, new, 1).encode()))
    assert [change.key for change in found] == [f"protocol.{told}"]
    assert all(change.text(language) for change in found for language in messages.LANGUAGES)


def test_a_field_that_lost_its_name_is_gone_and_another_is_new(every_kind: Protocol, every_kind_text: str) -> None:
    text = every_kind_text.replace("version = 2", "version = 3").replace('name = "depth_m"', 'name = "deepness"')
    found = changes(every_kind, read_protocol(text.encode()))
    assert [(change.key, change.data["name"]) for change in found] == [
        ("protocol.field_gone", "depth_m"),
        ("protocol.field_new", "deepness"),
    ]


def test_the_same_file_changes_nothing(every_kind: Protocol) -> None:
    assert changes(every_kind, every_kind) == ()


def test_labels_limits_and_order_change_nothing_for_old_observations(every_kind: Protocol, every_kind_text: str) -> None:
    text = (
        every_kind_text.replace("version = 2", "version = 3")
        .replace('"Live tissue"', '"Alive"')
        .replace('max = "200"', 'max = "300"')
    )
    assert changes(every_kind, read_protocol(text.encode())) == ()


def test_a_file_that_changes_and_keeps_its_number_is_told(every_kind: Protocol, every_kind_text: str) -> None:
    found = changes(every_kind, read_protocol(every_kind_text.replace("Live tissue", "Alive").encode()))
    assert [change.key for change in found] == ["protocol.version_not_higher"]
