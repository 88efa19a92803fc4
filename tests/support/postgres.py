"""A private PostgreSQL cluster of Debian's package, in a temporary folder, reached only through a socket in it."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote


def binaries() -> Path | None:
    """Folder of the newest installed server, None when there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    beside = shutil.which("postgres")
    return Path(beside).resolve().parent if beside else None


def _who() -> dict[str, object]:
    """The server refuses to run as root: then it runs as its own or as the powerless user."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
    raise RuntimeError("no user to run the server as")


@contextmanager
def cluster(password: str = "") -> Iterator[Cluster]:
    """A running server; stopped, and its folder removed, when the block is left. With a password, it asks for it."""
    where = binaries()
    if where is None:
        raise RuntimeError("no PostgreSQL server is installed")
    who = _who()
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    if who:
        os.chown(folder, who["user"], who["group"])  # type: ignore[arg-type]
    server: subprocess.Popen[bytes] | None = None
    try:
        (folder / "password").write_text(password + "\n", encoding="utf-8")
        how = [f"--pwfile={folder / 'password'}", "--auth=scram-sha-256"] if password else ["--auth=trust"]
        _run([where / "initdb", "-D", folder / "data", "-U", "keeper", *how, "-E", "UTF8", "--no-locale"], who)
        (folder / "password").unlink()
        log = (folder / "log").open("wb")
        server = subprocess.Popen(
            [where / "postgres", "-D", folder / "data", "-k", folder, "-c", "listen_addresses="],
            stdout=log, stderr=log, cwd="/", **who,  # type: ignore[call-overload]
        )  # fmt: skip
        log.close()
        made = Cluster(folder, where, password)
        made.wait(server)
        yield made
    finally:
        if server is not None:
            server.send_signal(signal.SIGINT)  # fast shutdown: does not wait for clients
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()
        shutil.rmtree(folder, ignore_errors=True)


def _run(command: list[object], who: dict[str, object]) -> None:
    done = subprocess.run(
        [str(part) for part in command], capture_output=True, text=True, cwd="/", timeout=60, check=False, **who,  # type: ignore[call-overload]
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"{command[0]}: {done.stderr[-2000:]}")


class Cluster:
    """Addresses of a running server."""

    def __init__(self, folder: Path, where: Path, password: str = "") -> None:
        self.folder = folder
        self.password = password
        self._where = where
        self._databases = 0

    def url(self, database: str, password: str = "") -> str:
        """Address of a database of this server."""
        secret = f":{quote(password or self.password, safe='')}".rstrip(":")
        return f"postgresql://keeper{secret}@/{database}?host={self.folder}"

    def wait(self, server: subprocess.Popen[bytes]) -> None:
        """Return when the server answers."""
        for _ in range(300):
            ready = subprocess.run(
                [self._where / "pg_isready", "-q", "-h", self.folder, "-d", "postgres", "-U", "keeper"], check=False
            )
            if ready.returncode == 0:
                return
            if server.poll() is not None:
                break
        raise RuntimeError((self.folder / "log").read_text(errors="replace")[-2000:])

    def fresh(self) -> str:
        """Address of a new empty database."""
        self._databases += 1
        name = f"log{self._databases}"
        self.sql("postgres", f"CREATE DATABASE {name}")
        return self.url(name)

    def sql(self, database: str, *statements: str) -> None:
        """Run statements as the server's keeper, outside the program."""
        import psycopg

        with psycopg.connect(self.url(database), autocommit=True) as db:
            for statement in statements:
                db.execute(statement)
