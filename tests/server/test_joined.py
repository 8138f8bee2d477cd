"""Modules joined to one file do what they do apart, and a form that joining does not know is told."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fieldkit.server.joined import JoinError, join, without_comments


def module(folder: Path, name: str, source: str) -> None:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(source)


def test_what_is_imported_stands_before_whoever_imports_it(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { two } from "./parts/two.js";\nconsole.log(two);\n')
    module(tmp_path, "parts/two.js", 'import { one } from "../one.js";\nexport const two = one + 1;\n')
    module(tmp_path, "one.js", "export const one = 1;\n")
    whole = join(tmp_path, "main.js", {})
    assert whole.index("const one = 1") < whole.index("const two = one + 1") < whole.index("console.log(two)")


def test_a_module_that_two_import_is_there_once(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { a } from "./a.js";\nimport { b } from "./b.js";\na(b);\n')
    module(tmp_path, "a.js", 'import { c } from "./c.js";\nexport const a = c;\n')
    module(tmp_path, "b.js", 'import { c } from "./c.js";\nexport const b = c;\n')
    module(tmp_path, "c.js", "export function c() {}\n")
    assert join(tmp_path, "main.js", {}).count("function c() {}") == 1


def test_a_library_stands_before_the_modules_and_keeps_its_names_to_itself(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { use } from "hooks";\nimport make from "htm";\nconst n = use + make();\n')
    module(tmp_path, "hooks.mjs", 'import{options as n}from"core";const t=n+1;export{t as use};export{more}from"core";')
    module(tmp_path, "core.mjs", "const n=1;\nexport { n as options, n as more };\n")
    module(tmp_path, "htm.mjs", "var n=2;export default function(){return n}")
    whole = join(tmp_path, "main.js", {name: tmp_path / f"{name}.mjs" for name in ("hooks", "core", "htm")})
    assert re.sub(r"\s+", " ", whole) == (
        "const vendor0 = (() => { const n=1; return { options: n, more: n }; })(); "
        "const vendor1 = (() => { const { options: n } = vendor0;const t=n+1; return { use: t, ...vendor0 }; })(); "
        "const vendor2 = (() => { var n=2;const standard = function(){return n} return { default: standard }; })(); "
        "const { use } = vendor1; const { default: make } = vendor2; const n = use + make(); "
    )


def test_a_library_that_the_page_does_not_have_is_told(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { h } from "preact";\n')
    with pytest.raises(JoinError, match="preact is no library"):
        join(tmp_path, "main.js", {})


def test_comments_are_left_out_and_texts_that_look_like_some_are_not() -> None:
    source = '/**\n * Why.\n */\nconst a = "https://x"; // gone\n// gone\n  const b = `/* no comment`;\nf("a; // b");\n'
    assert without_comments(source) == 'const a = "https://x";\nconst b = `/* no comment`;\nf("a; // b");\n'


@pytest.mark.parametrize(
    "strange",
    [
        "export let a = 1;",
        "export default 1;",
        'import * as all from "./b.js";',
        'export * from "./b.js";',
        'import { a as b } from "preact";',
        "const { a } = b;",
    ],
)
def test_a_form_that_is_not_known_is_told(tmp_path: Path, strange: str) -> None:
    module(tmp_path, "main.js", strange + "\n")
    with pytest.raises(JoinError, match=r"main\.js"):
        join(tmp_path, "main.js", {})


def test_modules_that_import_each_other_are_told(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { a } from "./a.js";\nexport const b = a;\n')
    module(tmp_path, "a.js", 'import { b } from "./main.js";\nexport const a = b;\n')
    with pytest.raises(JoinError, match="imports itself"):
        join(tmp_path, "main.js", {})


def test_one_name_for_two_things_is_told(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { a } from "./a.js";\nconst told = a;\n')
    module(tmp_path, "a.js", "export const a = 1;\nfunction told() {}\n")
    with pytest.raises(JoinError, match=r"told is a name in a\.js and in main\.js"):
        join(tmp_path, "main.js", {})


def test_what_a_module_does_not_have_is_told(tmp_path: Path) -> None:
    module(tmp_path, "main.js", 'import { b } from "./a.js";\n')
    module(tmp_path, "a.js", "export const a = 1;\n")
    with pytest.raises(JoinError, match=r"a\.js has no b"):
        join(tmp_path, "main.js", {})
