"""The three engines behind one face: a window opens an address, and runs what a page of it would.

All are the system's own. Chromium by Playwright; Firefox by WebDriver BiDi, which it speaks itself (Playwright's talk with it
fits some versions only, and not that of every Debian); WebKitGTK, the engine family of every iPhone's browser, by WebDriver
under a display that nobody sees.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from time import sleep
from typing import Any, Protocol

import pytest
from playwright.sync_api import BrowserContext, Error, Page, Playwright
from selenium import webdriver
from websocket import WebSocket, create_connection

from tests.browser.conftest import ARGUMENTS, CHROMIUM

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
WEBKIT = shutil.which("WebKitWebDriver")
XVFB = shutil.which("Xvfb")
CERTUTIL = shutil.which("certutil")
MINI_BROWSERS = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))  # where Debian puts it, outside the path

PREFERENCES = {  # of Firefox: our names are this computer, and it asks nobody else for anything
    "network.dns.localDomains": "base.local,other.local",
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
}


class Window(Protocol):
    """One tab."""

    def open(self, address: str) -> None: ...

    def run(self, body: str, given: Any = None) -> Any:
        """What the body of an async function of `given` returns in the page. An error in it is raised here, with its code."""
        ...

    def press(self, selector: str) -> None:
        """Press what a selector finds first and is in sight, as the engine itself hits it: not what lies beneath something."""
        ...


class Engine(Protocol):
    name: str

    def window(self) -> Window: ...

    def kill(self) -> None:
        """SIGKILL to every process of the browser, and a new one on the same profile."""
        ...

    def close(self) -> None: ...


class Tab:
    def __init__(self, page: Page) -> None:
        self.page = page

    def open(self, address: str) -> None:
        self.page.goto(address)

    def run(self, body: str, given: Any = None) -> Any:
        return self.page.evaluate("async given => {" + body + "}", given)

    def press(self, selector: str) -> None:
        self.page.locator(selector).first.click()


class _Automated:
    def __init__(self, driver: webdriver.WebKitGTK) -> None:
        self.driver = driver

    def open(self, address: str) -> None:
        self.driver.get(address)

    def run(self, body: str, given: Any = None) -> Any:
        told, failed = self.driver.execute_async_script(
            "const [given, done] = arguments;(async () => {" + body + "})()"
            ".then(told => done([told === undefined ? null : told, null]), error => done([null, String(error)]))",
            given,
        )
        if failed:
            raise RuntimeError(failed)
        return told

    def press(self, selector: str) -> None:
        self.driver.find_element("css selector", selector).click()


class Chromium:
    """On a profile that lasts. Every name that ends in .local is this computer."""

    name = "chromium"

    def __init__(self, playwright: Playwright, profile: Path, authority: Path | None = None, **options: Any) -> None:
        """`options`: what Playwright emulates of a phone."""
        self._playwright = playwright
        self._profile = profile
        self._options = options
        self._home = profile.with_name(f"{profile.name} home")  # where it looks for whom the user trusts
        _trust(self._home / ".pki" / "nssdb", authority)
        self.context = self._launched()

    def window(self) -> Tab:
        return Tab(self.context.new_page())

    def kill(self) -> None:
        self.strike()
        self.launch_again()

    def strike(self) -> None:
        """SIGKILL to every process, and nothing after it; from any thread."""
        for process in _family(str(self._profile)):
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)

    def launch_again(self) -> None:
        with suppress(Error):  # it says that it is closed already
            self.context.close()
        self.context = self._launched()

    def close(self) -> None:
        self.context.close()

    def renderers(self) -> set[int]:
        """The processes that draw its pages."""
        return {process for process in _family(str(self._profile)) if "--type=renderer" in _call_of(process)}

    def _launched(self) -> BrowserContext:
        arguments = [*ARGUMENTS, "--host-resolver-rules=MAP *.local 127.0.0.1"]
        return self._playwright.chromium.launch_persistent_context(
            self._profile,
            executable_path=CHROMIUM,
            args=arguments,
            env={**os.environ, "HOME": str(self._home)},
            **self._options,
        )


class Firefox:
    """On a profile that lasts. `base.local` and `other.local` are this computer."""

    name = "firefox"

    def __init__(self, profile: Path, authority: Path | None = None) -> None:
        self._profile = profile
        _trust(profile, authority)
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items()]
        (profile / "user.js").write_text("\n".join(lines), "utf-8")
        self._launch()

    def window(self) -> _Remote:
        return _Remote(self, self.command("browsingContext.create", type="tab")["context"])

    def kill(self) -> None:
        self._socket.close()
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(10)
        self._launch()

    def close(self) -> None:
        self.command("browser.close")
        self._socket.close()
        self._process.wait(20)

    def command(self, method: str, **given: Any) -> Any:
        self._last += 1
        self._socket.send(json.dumps({"id": self._last, "method": method, "params": given}))
        while True:
            told = json.loads(self._socket.recv())
            if told.get("id") == self._last:
                if told["type"] == "error":
                    raise RuntimeError(f"{told['error']}: {told['message']}")
                return told["result"]

    def _launch(self) -> None:
        call = [str(FIREFOX), "--headless", "--no-remote", "--profile", str(self._profile), "--remote-debugging-port", "0"]
        with (self._profile / "said.txt").open("w") as said:
            self._process = subprocess.Popen(call, stdout=said, stderr=said, start_new_session=True)
        self._socket: WebSocket = create_connection(f"{self._listening()}/session", suppress_origin=True, timeout=60)
        self._last = 0
        self.command("session.new", capabilities={})

    def _listening(self) -> str:
        for _ in range(600):
            found = re.search(r"listening on (ws://\S+)", (self._profile / "said.txt").read_text())
            if found:
                return found[1]
            sleep(0.1)
        raise RuntimeError((self._profile / "said.txt").read_text())


class _Remote:
    def __init__(self, firefox: Firefox, context: str) -> None:
        self._firefox = firefox
        self._context = context

    def open(self, address: str) -> None:
        self._firefox.command("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def run(self, body: str, given: Any = None) -> Any:
        told = self._firefox.command(
            "script.callFunction",
            functionDeclaration="async text => { const given = JSON.parse(text);"
            f"return JSON.stringify(await (async () => {{ {body} }})() ?? null) }}",
            arguments=[{"type": "string", "value": json.dumps(given)}],
            target={"context": self._context},
            awaitPromise=True,
        )
        if told["type"] == "exception":
            raise RuntimeError(told["exceptionDetails"]["text"])
        return json.loads(told["result"]["value"])

    def press(self, selector: str) -> None:
        left, top = self.run(
            "const {x, y, width, height} = document.querySelector(given).getBoundingClientRect();"
            "return [Math.round(x + width / 2), Math.round(y + height / 2)];",
            selector,
        )
        tap = [
            {"type": "pointerMove", "x": left, "y": top},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        finger = {"type": "pointer", "id": "finger", "parameters": {"pointerType": "touch"}, "actions": tap}
        self._firefox.command("input.performActions", context=self._context, actions=[finger])


class WebKit:
    """WebKitGTK: its storage lives as long as the driver, and its sessions are private ones, as of an iPhone."""

    name = "webkit"

    def __init__(self, driver: webdriver.WebKitGTK) -> None:
        self._driver = driver

    def window(self) -> _Automated:
        self._driver.switch_to.new_window("tab")
        return _Automated(self._driver)

    def close(self) -> None:
        self._driver.quit()


def missing(name: str) -> str | None:
    """What is not installed here that the engine needs."""
    needs = {
        "chromium": {"Chromium": CHROMIUM, "certutil": CERTUTIL},
        "firefox": {"Firefox": FIREFOX, "certutil": CERTUTIL},
        "webkit": {"WebKitWebDriver": WEBKIT, "MiniBrowser": MINI_BROWSERS, "Xvfb": XVFB},
    }
    return next((what for what, found in needs[name].items() if not found), None)


@contextmanager
def running(
    name: str, folder: Path, playwright: Playwright, authority: Path | None = None
) -> Iterator[Chromium | Firefox | WebKit]:
    """An engine, ended afterwards; its profile is in `folder`. Skips where it is not installed.

    Args:
        authority: the certificate of a base's authority, which its user installed. (WebKitGTK takes any certificate: its
            driver has no way to trust one.)
    """
    lacking = missing(name)
    if lacking:
        pytest.skip(f"no {lacking} here")
    with ExitStack() as stack:
        if name == "chromium":
            engine: Chromium | Firefox | WebKit = Chromium(playwright, folder / name, authority)
        elif name == "firefox":
            engine = Firefox(folder / name, authority)
        else:
            engine = WebKit(_webkit(stack.enter_context(_display())))
        stack.callback(engine.close)
        yield engine


def _webkit(display: str) -> webdriver.WebKitGTK:
    options = webdriver.WebKitGTKOptions()
    options.binary_location = str(MINI_BROWSERS[-1])
    options.add_argument("--automation")
    options.set_capability("acceptInsecureCerts", True)
    variables = {**os.environ, "DISPLAY": display, "LANG": "en_US.UTF-8"}
    with warnings.catch_warnings(action="ignore", category=DeprecationWarning):  # selenium warns of itself
        driver = webdriver.WebKitGTK(options, webdriver.WebKitGTKService(executable_path=WEBKIT, env=variables))
    driver.set_script_timeout(60)
    return driver


@contextmanager
def _display() -> Iterator[str]:
    assert XVFB
    reads, writes = os.pipe()
    with subprocess.Popen(
        [XVFB, "-displayfd", str(writes), "-screen", "0", "800x900x24", "-nolisten", "tcp"],
        pass_fds=[writes],
        stderr=subprocess.DEVNULL,
    ) as server:
        os.close(writes)
        with os.fdopen(reads) as told:
            number = told.readline().strip()
        try:
            yield f":{number}"
        finally:
            server.terminate()
            server.wait(10)


def _trust(database: Path, authority: Path | None) -> None:
    """Make the certificate database of a profile, and install an authority in it as its user would."""
    database.mkdir(parents=True, exist_ok=True)
    if authority and not (database / "cert9.db").exists():
        for call in (["-N", "--empty-password"], ["-A", "-t", "C,,", "-n", "base", "-i", str(authority)]):
            subprocess.run([str(CERTUTIL), "-d", f"sql:{database}", *call], check=True, stdin=subprocess.DEVNULL)


def _call_of(process: int) -> str:
    return Path(f"/proc/{process}/cmdline").read_text()


def _family(mark: str) -> set[int]:
    """The processes whose call names `mark`, and all that come from them, but us."""
    parents, family = dict[int, int](), set[int]()
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            if mark in _call_of(int(folder.name)) and int(folder.name) != os.getpid():
                family.add(int(folder.name))
        except (FileNotFoundError, ProcessLookupError):
            continue
    while more := {child for child, parent in parents.items() if parent in family} - family:
        family |= more
    return family
