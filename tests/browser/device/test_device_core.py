"""What the device keeps and seals, as three engines do it, read by the base's own code."""

from __future__ import annotations

import base64
import json
from io import BytesIO
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldkit.access.codes import LETTERS
from fieldkit.ledger import is_id
from fieldkit.ledger.canonical import canonical, sha256
from fieldkit.ledger.carry import read_carry
from fieldkit.ledger.entry import Entry, read_line
from fieldkit.photos.look import look_at
from fieldkit.server.address_code import address_code
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.browser.device.conftest import DEVICE, HEAD, PROGRAMME
from tests.browser.device.windows import Window

WHOLE = st.integers(-(2**53) + 1, 2**53 - 1)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
KEYS = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)
VALUES = st.recursive(
    st.none() | st.booleans() | WHOLE | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)
SEALED = """
    const {openNotes} = await import("/entry/device/notes.js");
    const lines = async () => (await openNotes().read(["entry"], (tx) => tx.objectStore("entry").index("place").getAll()))
      .map(({digest, body}) => `${digest} ${body}`);
"""
# A session with a row, its photo, and a photo of the slate.
A_SESSION = """
    const photo = new File([new Uint8Array([1, 2, 3])], "a.jpg", {type: "image/jpeg"});
    const session = await device.startSession(given.head);
    const row = await device.putRow(session, {kind: "observation", order: 1,
      values: {tag: "B104 \\u2028 \\u{1f41a}", status: "alive", size_cm: "12.5"}});
    await device.addPhoto(session, {row, view: "whole", file: photo});
    await device.addPhoto(session, {view: "slate", file: new File([new Uint8Array([4])], "b.jpg", {type: "image/jpeg"})});
"""


def entries_of(window: Window, body: str, **named: Any) -> list[Entry]:
    """What is sealed after `body` and another sealing, each line read by the base's code."""
    lines = window.run(body + "await device.carryFile();" + SEALED + "return lines();", {"head": HEAD, **named})
    return [read_line(line.encode()) for line in lines]


@settings(max_examples=4, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(VALUES, min_size=60, max_size=60))
def test_the_canonical_form_and_its_digest_are_those_of_the_base(window: Window, values: list[Any]) -> None:
    told = window.run(
        """
        const {canonical} = await import("/entry/device/canonical.js");
        const {sha256} = await import("/entry/device/digest.js");
        return Promise.all(given.map(JSON.parse).map(async (value) => [canonical(value), await sha256(canonical(value))]));
        """,
        [json.dumps(value) for value in values],
    )
    assert told == [[canonical(value).decode(), sha256(canonical(value))] for value in values]


OUTSIDE = [
    *("1.5", "2 ** 53", "NaN", "undefined", "new Date()", "[[[[[[[[[]]]]]]]]]"),
    *('"\\ud83d"', '"a\\udc1a"', '{"Tag": "1"}', '{"a b": "1"}', '{"": "1"}'),
]


def test_what_is_outside_the_profile_is_refused(window: Window) -> None:
    tried = ",".join(f"() => canonical({{a: {value}}})" for value in OUTSIDE)
    told = window.run(
        'const {canonical} = await import("/entry/device/canonical.js");'
        f"return [{tried}].map((write) => {{ try {{ return write() }} catch (error) {{ return error.code }} }})"
    )
    assert told == ["not_sendable"] * len(OUTSIDE)


def test_names_of_things_are_uuids_of_version_7_and_all_differ(window: Window) -> None:
    names = window.run(
        'const {newId} = await import("/entry/device/ids.js"); return Array.from({length: 2000}, newId)',
    )
    assert len(set(names)) == 2000
    assert all(is_id(name) and name[14] == "7" for name in names)


def test_sums_of_digests_are_those_of_the_base(window: Window) -> None:
    digests = [sha256(bytes([n])) for n in range(40)]
    told = window.run('const {sumOf} = await import("/entry/device/digest.js"); return sumOf(given)', digests)
    assert told == f"{sum(int(digest, 16) for digest in digests) % 2**256:064x}"


def test_sealed_entries_are_read_by_the_base_in_places_without_gaps(window: Window) -> None:
    entries = entries_of(window, A_SESSION)
    assert [entry.seq for entry in entries] == [1, 2, 3, 4]
    assert [entry.kind for entry in entries] == ["session", "observation", "photo", "photo"]
    assert {entry.device for entry in entries} == {DEVICE}
    assert entries[0].values == {**HEAD, "role": "crew"}
    assert entries[1].values["tag"] == "B104 \u2028 \U0001f41a"


def test_a_photo_says_what_it_shows(window: Window) -> None:
    photo = entries_of(window, A_SESSION)[2]
    assert photo.values["photo"] == sha256(b"\x01\x02\x03")
    assert (photo.values["bytes"], photo.values["type"], photo.values["view"]) == (3, "image/jpeg", "whole")
    assert is_id(photo.values["row"])


def test_nothing_changed_seals_nothing_new(window: Window) -> None:
    again = "await device.carryFile(); await device.putRow(session, (await device.rows(session))[0]);"
    assert len(entries_of(window, A_SESSION + again)) == 4


def test_a_row_changed_before_sealing_is_no_correction(window: Window) -> None:
    changed = 'await device.putRow(session, {row, kind: "observation", values: {tag: "B105"}, order: 1});'
    entries = entries_of(window, A_SESSION + changed)
    assert [entry.values["tag"] for entry in entries if entry.kind == "observation"] == ["B105"]


def test_a_row_changed_after_sealing_takes_the_place_of_the_former_entry(window: Window) -> None:
    changed = (
        'await device.carryFile(); await device.putRow(session, {row, kind: "observation", values: {tag: "B105"}, order: 1});'
    )
    entries = entries_of(window, A_SESSION + changed)
    former, latter = [entry for entry in entries if entry.kind == "observation"]
    assert latter.replaces == (former.digest,)
    assert latter.values == {"tag": "B105", "row": former.values["row"]}


def test_a_row_dropped_after_sealing_is_taken_back_with_its_photo(window: Window) -> None:
    entries = entries_of(window, A_SESSION + "await device.carryFile(); await device.dropRow(session, row);")
    taken_back = {digest for entry in entries if entry.kind == "retract" for digest in entry.replaces}
    assert taken_back == {entry.digest for entry in entries if entry.values.get("row") is not None}


def test_a_row_dropped_and_put_back_has_its_photo_again(window: Window) -> None:
    put_back = """
        const before = await device.onlyHere();
        await device.dropRow(session, row);
        const dropped = await device.onlyHere();
        await device.putRow(session, {row, kind: "observation", order: 1, values: {tag: "B104"}});
        return [before, dropped, await device.onlyHere()].map(({photos}) => photos);
    """
    assert window.run(A_SESSION + put_back, {"head": HEAD}) == [2, 1, 2]


def test_a_row_dropped_before_sealing_was_never_said(window: Window) -> None:
    entries = entries_of(window, A_SESSION + "await device.dropRow(session, row);")
    assert [entry.kind for entry in entries] == ["session", "photo"]


def test_a_head_changed_after_sealing_keeps_its_role(window: Window) -> None:
    changed = 'await device.carryFile(); await device.putHead(session, {...given.head, recorder: "NL", plots: ["x"]});'
    entries = entries_of(window, A_SESSION + changed)
    assert entries[-1].kind == "session" and entries[-1].replaces == (entries[0].digest,)
    assert entries[-1].values == {**HEAD, "role": "crew", "recorder": "NL"}


def test_a_close_says_how_many_entries_came_before_and_their_sum(window: Window) -> None:
    *before, close = entries_of(window, A_SESSION + "await device.closeSession(session);")
    total = sum(int(entry.digest, 16) for entry in before) % 2**256
    assert (close.kind, close.values) == ("close", {"n": 4, "sum": f"{total:064x}", "photos": 2})


def test_a_session_that_went_on_is_closed_anew(window: Window) -> None:
    went_on = """
        await device.closeSession(session); await device.carryFile(); await device.reopenSession(session);
        await device.putRow(session, {kind: "observation", values: {tag: "B106"}, order: 2});
        await device.closeSession(session);
    """
    entries = entries_of(window, A_SESSION + went_on)
    assert [entry.kind for entry in entries][4:] == ["close", "observation", "close"]
    assert entries[-1].replaces == (entries[4].digest,) and entries[-1].values["n"] == 6


def test_a_session_without_a_row_is_not_handed_in(window: Window) -> None:
    assert entries_of(window, "await device.startSession(given.head);") == []


@pytest.mark.parametrize(("values", "code"), [('{note: "x".repeat(16000)}', "too_long"), ("{size_cm: 12.5}", "not_sendable")])
def test_a_row_that_no_base_could_take_is_refused_while_it_is_typed(window: Window, values: str, code: str) -> None:
    body = "const session = await device.startSession(given.head); try {"
    put = f'await device.putRow(session, {{kind: "observation", values: {values}, order: 1}})'
    assert window.run(f"{body} {put} }} catch (error) {{ return error.code }}", {"head": HEAD}) == code


@pytest.fixture
def carried(window: Window, tmp_path: Path) -> Path:
    """The carry file of a session, saved."""
    told = window.run(
        A_SESSION
        + """
        const {file, ...counts} = await device.carryFile();
        const address = await new Promise((done) => {
          const reader = new FileReader();
          reader.onload = () => done(reader.result);
          reader.readAsDataURL(file);
        });
        return {...counts, name: file.name, address};
        """,
        {"head": HEAD},
    )
    assert (told["entries"], told["photos"], told["left"]) == (4, 2, 0)
    path = tmp_path / told["name"]
    path.write_bytes(base64.b64decode(told["address"].partition(",")[2]))
    return path


def test_a_carry_file_is_read_whole_by_the_base(carried: Path) -> None:
    with read_carry(carried) as carry:
        entries = list(carry.entries())
        photos = [(folder, digest, body.read()) for folder, digest, body in carry.content()]
        assert (carry.faults, carry.is_whole) == ([], True)
    assert (carry.about.programme, carry.about.source) == (PROGRAMME, DEVICE)
    assert [entry.kind for entry in entries] == ["session", "observation", "photo", "photo"]
    assert photos == [("photos", sha256(body), body) for body in (b"\x01\x02\x03", b"\x04")]


def test_a_carry_file_is_a_zip_file_to_anyone(carried: Path) -> None:
    with ZipFile(carried) as archive:
        assert archive.testzip() is None
        assert archive.namelist()[:2] == ["about.json", "entries.txt"] and archive.namelist()[-1] == "end.json"


def test_a_photo_tells_its_camera_s_time_as_the_base_reads_it(window: Window) -> None:
    with ZipFile(next((SAMPLE_SURVEYS / "boat_day").glob("*.zip"))) as carry:
        photos = [carry.read(name) for name in carry.namelist() if name.startswith("photos/")][:8]
    told = window.run(
        """
        const {cameraTime} = await import("/entry/device/camera_time.js");
        return given.map((text) => cameraTime(Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer));
        """,
        [base64.b64encode(photo).decode() for photo in photos],
    )
    assert told == [look_at(BytesIO(photo)).camera_time for photo in photos]
    assert any(told)


def test_a_connection_lost_behind_the_page_s_back_is_opened_again(window: Window) -> None:
    rows = window.run(
        """
        const session = await device.startSession(given.head);
        const begin = IDBDatabase.prototype.transaction;
        IDBDatabase.prototype.transaction = function (...what) {  // the next one only, on a connection that is closed by then
          IDBDatabase.prototype.transaction = begin;
          this.close();
          return begin.apply(this, what);
        };
        await device.putRow(session, {kind: "observation", values: {tag: "B104"}, order: 1});
        return device.rows(session);
        """,
        {"head": HEAD},
    )
    assert [row["values"] for row in rows] == [{"tag": "B104"}]


def test_an_old_page_goes_on_while_a_newer_one_upgrades_the_database(window: Window) -> None:
    tags = window.run(
        """
        const session = await device.startSession(given.head);
        const newer = await new Promise((done, failed) => {
          const request = indexedDB.open("fieldkit notes", 2);
          request.onupgradeneeded = () => request.result.createObjectStore("later");
          request.onsuccess = () => done(request.result);
          request.onerror = () => failed(request.error);
        });
        await device.putRow(session, {kind: "observation", values: {tag: "B104"}, order: 1});
        newer.close();
        return (await device.rows(session)).map((row) => row.values.tag);
        """,
        {"head": HEAD},
    )
    assert tags == ["B104"]


ORIGINS = """
    const {originOf} = await import("/entry/device/address.js");
    return given.map((typed) => { try { return originOf(typed) } catch (error) { return error.code } });
"""


def test_address_codes_lead_where_the_base_says(window: Window) -> None:
    addresses = [("192.168.8.2", 8443), ("10.42.0.1", 8443), ("172.20.10.4", 9443), ("169.254.255.255", 8443)]
    told = window.run(ORIGINS, [address_code(*address) for address in addresses])
    assert told == [f"https://{host}:{port}" for host, port in addresses]


@given(st.ip_addresses(v=4), st.integers(0, 7), st.sampled_from(LETTERS))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_wrong_letter_in_an_address_code_shows(window: Window, address: IPv4Address, place: int, letter: str) -> None:
    code = address_code(str(address)).replace("-", "")
    slip = code[:place] + letter + code[place + 1 :]
    expected = f"https://{address}:8443" if slip == code else "wrong_address_code"
    assert window.run(ORIGINS, [slip.lower()]) == [expected]


def test_an_address_may_be_typed_in_any_way(window: Window) -> None:
    typed = ["192.168.8.2", " https://192.168.8.2:8443/enter#x ", "reef-base.local", "reef-base.local:9443", "r2mo gom2"]
    origins = [
        f"https://{host}" for host in ("192.168.8.2:8443", "192.168.8.2:8443", "reef-base.local:8443", "reef-base.local:9443")
    ]
    assert window.run(ORIGINS, typed) == [*origins, "https://192.168.8.2:8443"]
    assert window.run(ORIGINS, ["", "two long words", "https://"]) == ["no_address"] * 3
