"""The served app against other origins and other names of this machine: a real server, real requests."""

from __future__ import annotations

import asyncio
import importlib.util
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tester.bench.web import own_origins
from tests.support.tools import need

ROOT = Path(__file__).resolve().parents[2]
FOREIGN_ORIGINS = (
    "http://elsewhere.example", "null", "", "https://127.0.0.1:{port}", "http://127.0.0.1", "http://127.0.0.1:1",
    "http://localhost:{port}.elsewhere.example", "http://127.0.0.1:{port}.elsewhere.example", "http://[::1]:{port}",
    "http://user@127.0.0.1:{port}", "http://127.0.0.1:{port}/", "http://localhost.elsewhere.example:{port}",
)  # fmt: skip
FOREIGN_HOSTS = (
    "elsewhere.example", "elsewhere.example:{port}", "127.0.0.1", "127.0.0.1:1", "localhost", "[::1]:{port}",
    "127.0.0.1.elsewhere.example:{port}", "localhost.elsewhere.example:{port}", "0.0.0.0:{port}", "2130706433:{port}",
)  # fmt: skip


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    need("textual-serve", importlib.util.find_spec("textual_serve") is not None)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = int(free.getsockname()[1])
    log = tmp_path_factory.mktemp("served") / "log.db"
    server = subprocess.Popen(
        [sys.executable, "-m", "tester", "bench", "--web", "--web-port", str(number), "--log", str(log)],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    try:
        assert server.stderr is not None and "this machine only" in server.stderr.readline()
        for _ in range(100):
            with socket.socket() as one:
                if one.connect_ex(("127.0.0.1", number)) == 0:
                    break
            asyncio.run(asyncio.sleep(0.05))
        yield number
    finally:
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()


async def ask(port: int, headers: dict[str, str], path: str = "/") -> tuple[int, Any, str]:
    """Status, headers and text of a page."""
    import aiohttp

    address = f"http://127.0.0.1:{port}{path}"
    async with aiohttp.ClientSession() as client, client.get(address, headers=headers) as answer:
        return answer.status, answer.headers, await answer.text()


async def join(port: int, headers: dict[str, str], wait_s: float = 0.0) -> tuple[int, bytes]:
    """Status of a WebSocket that is asked for, and what the app says on it first."""
    import aiohttp

    async with aiohttp.ClientSession() as client:
        try:
            async with client.ws_connect(f"http://127.0.0.1:{port}/ws?width=80&height=24", headers=headers) as socket_:
                said = b""
                while wait_s and len(said) < 1000:
                    message = await asyncio.wait_for(socket_.receive(), wait_s)
                    said += message.data if isinstance(message.data, bytes) else str(message.data).encode()
                return 101, said
        except aiohttp.WSServerHandshakeError as refused:
            return refused.status, b""


def raw(port: int, request: str) -> bytes:
    """The first line of the answer to these bytes."""
    with socket.create_connection(("127.0.0.1", port), timeout=5) as one:
        one.sendall(request.replace("\n", "\r\n").encode())
        return one.recv(200).split(b"\r\n")[0]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_its_own_pages_work_by_both_names(port: int, host: str) -> None:
    own = {"Host": f"{host}:{port}"}
    status, headers, page = asyncio.run(ask(port, own))
    assert status == 200 and "Loomwright" in page and f"ws://127.0.0.1:{port}/ws" in page
    assert "https://" not in page.split("<body", 1)[0]
    assert headers["X-Frame-Options"] == "DENY" and "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert asyncio.run(ask(port, own, "/static/js/textual.js"))[0] == 200


def test_its_own_page_reaches_the_app(port: int) -> None:
    status, said = asyncio.run(join(port, {"Origin": f"http://localhost:{port}"}, wait_s=30))
    assert status == 101 and len(said) >= 1000 and b"help" in said


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
def test_another_origin_gets_neither_page_nor_app(port: int, origin: str) -> None:
    headers = {"Origin": origin.format(port=port)}
    assert asyncio.run(ask(port, headers))[0] == 403
    assert asyncio.run(ask(port, headers, "/static/js/textual.js"))[0] == 403
    assert asyncio.run(join(port, headers)) == (403, b"")


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
def test_another_name_of_this_machine_gets_neither_page_nor_app(port: int, host: str) -> None:
    """A name that a stranger's server makes point here: the browser then takes us for the stranger's site."""
    name = host.format(port=port)
    for origin in ({}, {"Origin": f"http://{name}"}, {"Origin": f"http://127.0.0.1:{port}"}):
        assert asyncio.run(ask(port, {"Host": name, **origin}))[0] == 403
        assert asyncio.run(join(port, {"Host": name, **origin})) == (403, b"")


def test_no_host_two_hosts_and_two_origins_are_refused(port: int) -> None:
    own = f"Host: 127.0.0.1:{port}\n"
    assert b" 200 " in raw(port, f"GET / HTTP/1.1\n{own}\n")
    for request in (
        "GET / HTTP/1.0\n\n",
        f"GET / HTTP/1.1\n{own}Host: elsewhere.example\n\n",
        f"GET / HTTP/1.1\nHost: elsewhere.example\n{own}\n",
        f"GET / HTTP/1.1\n{own}Origin: http://127.0.0.1:{port}\nOrigin: http://elsewhere.example\n\n",
    ):
        assert raw(port, request).split(b" ")[1] in (b"400", b"403"), request


def test_nothing_answers_at_ipv6_loopback_or_another_address(port: int) -> None:
    addresses = [(socket.AF_INET6, "::1")]
    here = socket.gethostbyname(socket.gethostname())
    addresses += [] if here.startswith("127.") else [(socket.AF_INET, here)]
    for family, address in addresses:
        try:
            one = socket.socket(family)
        except OSError:
            continue  # no IPv6 here
        with one:
            one.settimeout(2)
            assert one.connect_ex((address, port)) != 0


def test_at_the_port_that_browsers_leave_out_the_names_stand_alone() -> None:
    assert own_origins(80) == {"127.0.0.1": "http://127.0.0.1", "localhost": "http://localhost"}
