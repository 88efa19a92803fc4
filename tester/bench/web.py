"""The same app in a browser on this machine: textual-serve on loopback, without fonts from outside.

Only this machine can connect, and only a page that this server gave out: another site open in the same browser is
refused by the address that its requests come from, another name for this machine by the name that was asked for, and
no other page can hold this one in a frame.
"""

from __future__ import annotations

import re
import shlex
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from tester.errors import InputError
from tester.records.address import hide_passwords

HOST = "127.0.0.1"
PORT = 8765
_HEADERS = {
    "Content-Security-Policy": "frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-site",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
_OUTSIDE = re.compile(r"<link[^>]*https?://[^>]*>", re.DOTALL)


def bench_command(options: object) -> str:
    """The command line that the server starts for each page: the same options without --web, and without a password,
    which would stand in the list of processes; it goes on in the environment.
    """
    words = [sys.executable, "-m", "tester", "bench"]
    for name in ("board", "wired_by", "plan", "log", "side"):
        value = getattr(options, name, None)
        if value:
            words += [f"--{name.replace('_', '-')}", str(value)]
    for path in getattr(options, "leads", None) or []:
        words += ["--leads", str(path)]
    if getattr(options, "no_sound", False):
        words.append("--no-sound")
    if getattr(options, "record", None):
        words.append(str(options.record))  # type: ignore[attr-defined]
    return shlex.join(hide_passwords(words))


def own_page(shipped: Path, folder: Path) -> Path:
    """A copy of the server's page that loads nothing from outside this machine. Returns its folder."""
    for page in shipped.glob("*.html"):
        (folder / page.name).write_text(_OUTSIDE.sub("", page.read_text(encoding="utf-8")), encoding="utf-8")
    return folder


def own_origins(port: int) -> dict[str, str]:
    """What a browser on this machine sends as Host for our pages, and the origin that goes with each."""
    names = [host if port == 80 else f"{host}:{port}" for host in (HOST, "localhost")]
    return {name: f"http://{name}" for name in names}


def serve(options: object) -> int:
    """Serve until Ctrl+C. Raises InputError when the optional part is not installed."""
    try:
        from aiohttp import web
        from textual_serve.server import Server
    except ImportError:
        raise InputError(
            "the browser front is not installed", "Install it with: pip install 'loomwright[web]'"
        ) from None
    port = int(getattr(options, "web_port", None) or PORT)
    own = own_origins(port)

    @web.middleware
    async def own_pages_only(request: Any, handler: Any) -> Any:
        hosts, origins = request.headers.getall("Host", []), request.headers.getall("Origin", [])
        if len(hosts) != 1 or hosts[0] not in own or not set(origins) <= set(own.values()):
            raise web.HTTPForbidden(text="This page is for this machine only.")
        return await handler(request)

    async def keep_to_ourselves(_request: Any, response: Any) -> None:
        response.headers.update(_HEADERS)

    class BenchServer(Server):  # type: ignore[misc,unused-ignore]
        def initialize_logging(self) -> None:
            """The server says little by itself."""

        async def _make_app(self) -> Any:
            app = await super()._make_app()
            app.middlewares.append(own_pages_only)
            app.on_response_prepare.append(keep_to_ourselves)
            return app

        async def on_startup(self, app: Any) -> None:
            sys.stderr.write(f"The bench is at http://{HOST}:{port} (this machine only). Ctrl+C ends it.\n")

    folder = Path(tempfile.mkdtemp(prefix="loomwright-web-"))
    try:
        server = BenchServer(bench_command(options), host=HOST, port=port, title="Loomwright")
        server.templates_path = own_page(Path(server.templates_path), folder)
        server.serve()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return 0
