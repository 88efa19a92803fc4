"""The app in headless Chromium through `bench --web`, driven by the DevTools protocol: seen, answered, loopback only.

pytest -n 0 -m campaign -s tests/campaigns/test_bench_browser.py
"""

from __future__ import annotations

import asyncio
import base64
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest

pytestmark = [pytest.mark.campaign, pytest.mark.timeout(300)]
ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Tab:
    """One page of a browser, by DevTools messages."""

    def __init__(self, session: Any) -> None:
        self.session = session
        self.count = 0

    async def ask(self, method: str, **params: Any) -> dict[str, Any]:
        self.count += 1
        await self.session.send_json({"id": self.count, "method": method, "params": params})
        while True:
            answer = await asyncio.wait_for(self.session.receive_json(), 30)
            if answer.get("id") == self.count:
                return answer.get("result", {})

    async def evaluate(self, script: str) -> Any:
        result = await self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        return result.get("result", {}).get("value")

    async def key(self, text: str) -> None:
        await self.ask("Input.dispatchKeyEvent", type="keyDown", text=text, key=text)
        await self.ask("Input.dispatchKeyEvent", type="keyUp", key=text)

    async def picture(self) -> bytes:
        return base64.b64decode((await self.ask("Page.captureScreenshot", format="png"))["data"])


async def see(port: int, debug: int, folder: Path) -> tuple[bytes, bytes, list[str]]:
    """Pictures before and after a key, and the addresses that the page asked for."""
    import aiohttp

    async with aiohttp.ClientSession() as client:
        for _ in range(100):
            try:
                async with client.get(f"http://127.0.0.1:{debug}/json") as answer:
                    pages = [one for one in await answer.json() if one["type"] == "page"]
                    break
            except aiohttp.ClientError:
                await asyncio.sleep(0.2)
        async with client.ws_connect(pages[0]["webSocketDebuggerUrl"], max_msg_size=0) as session:
            tab = Tab(session)
            await tab.ask("Page.enable")
            await tab.ask("Page.navigate", url=f"http://127.0.0.1:{port}/?fontsize=14")
            await asyncio.sleep(2.0)
            for _ in range(60):
                if await tab.evaluate("document.body.classList.contains('-first-byte')"):
                    break
                await asyncio.sleep(0.25)
            await asyncio.sleep(2.0)
            for kind in ("mousePressed", "mouseReleased"):
                await tab.ask("Input.dispatchMouseEvent", type=kind, x=300, y=300, button="left", clickCount=1)
            await asyncio.sleep(0.5)
            first = await tab.picture()
            await tab.key("?")
            await asyncio.sleep(1.5)
            second = await tab.picture()
            asked = await tab.evaluate("performance.getEntriesByType('resource').map(one => one.name)")
    return first, second, list(asked or [])


def test_the_app_is_served_to_a_browser_on_this_machine_only(tmp_path: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    assert chromium, "this campaign needs Chromium (apt-get install chromium)"
    port, debug = free_port(), free_port()
    server = subprocess.Popen(
        [sys.executable, "-m", "tester", "bench", "--web", "--web-port", str(port), "--log", str(tmp_path / "log.db")],
        cwd=ROOT, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    browser = None
    try:
        assert server.stderr is not None
        assert "this machine only" in server.stderr.readline()
        browser = subprocess.Popen(
            [chromium, "--headless=new", "--no-sandbox", "--disable-gpu", f"--remote-debugging-port={debug}",
             "--remote-allow-origins=*", f"--user-data-dir={tmp_path / 'profile'}", "--window-size=1000,700",
             "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        first, second, asked = asyncio.run(see(port, debug, tmp_path))
        keep = Path(os.environ.get("SCREENS", str(tmp_path)))
        keep.mkdir(parents=True, exist_ok=True)
        (keep / "browser-jobs.png").write_bytes(first)
        (keep / "browser-help.png").write_bytes(second)
        print(f"\npictures: {len(first)} and {len(second)} bytes in {keep}; asked for: {json.dumps(asked)}")
        assert len(first) > 10_000 and first != second
        assert all(name.startswith(f"http://127.0.0.1:{port}/") for name in asked)
        refused(port)
    finally:
        for process in (browser, server):
            if process is not None:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def refused(port: int) -> None:
    """A page of another site, and another name for this machine, are turned away; no other address listens."""
    for header in ({"Origin": "http://elsewhere.example"}, {"Host": "elsewhere.example"}):
        with pytest.raises(urllib.error.HTTPError) as told:
            urllib.request.urlopen(urllib.request.Request(f"http://127.0.0.1:{port}/", headers=header), timeout=5)
        assert told.value.code == 403
    with socket.socket() as one:
        one.settimeout(2)
        assert one.connect_ex((socket.gethostbyname(socket.gethostname()), port)) != 0 or socket.gethostbyname(
            socket.gethostname()
        ).startswith("127.")
