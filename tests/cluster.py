"""A throw-away PostgreSQL server for tests and benchmarks: its own folder, a unix socket, nobody else's."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import psycopg

#: Where Debian's package has the server's programs.
PROGRAMS = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


class Cluster:
    """A running server. `fsync` off is for tests that cut no power; a benchmark needs it on."""

    def __init__(self, *, fsync: bool = False) -> None:
        if not PROGRAMS:
            raise FileNotFoundError("no PostgreSQL server: run tests/setup-debian, or apt install postgresql")
        self._bin = PROGRAMS[-1]
        # Not pytest's folder: a socket's path may be 107 bytes long, and another user must reach it.
        self.folder = Path(tempfile.mkdtemp(prefix="pourlog-pg-"))
        # The server refuses to run as root.
        self._as: dict[str, Any] = {}
        if os.geteuid() == 0:
            self._as = {"user": "postgres", "group": "postgres", "extra_groups": []}
            shutil.chown(self.folder, "postgres", "postgres")
        self._data = self.folder / "data"
        self._run(
            "initdb",
            "-D",
            str(self._data),
            "-U",
            "postgres",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        )
        options = f"-k {self.folder} -c listen_addresses='' -c max_connections=200"
        if not fsync:
            options += " -c fsync=off -c synchronous_commit=off -c full_page_writes=off"
        self._run(
            "pg_ctl",
            "-D",
            str(self._data),
            "-w",
            "-t",
            "30",
            "-o",
            options,
            "-l",
            str(self.folder / "log"),
            "start",
        )
        self._made = 0
        self._admin = psycopg.connect(self.address("postgres", "postgres"), autocommit=True)
        # The service's own user is no superuser: a superuser would see every shop.
        self._admin.execute("CREATE ROLE pourlog LOGIN")

    def address(self, database: str, user: str = "pourlog") -> str:
        """A database's URL."""
        return f"postgresql://{user}@/{database}?host={self.folder}"

    def create(self, like: str | None = None) -> str:
        """A new database, empty or a copy. Gives its name."""
        self._made += 1
        name = f"pourlog_{self._made}"
        copied = "" if like is None else f" TEMPLATE {like} STRATEGY file_copy"
        self._admin.execute(f"CREATE DATABASE {name} OWNER pourlog{copied}")
        return name

    def drop(self, name: str) -> None:
        """A database goes, whoever is still connected."""
        self._admin.execute(f"DROP DATABASE {name} WITH (FORCE)")

    def execute(self, database: str, statement: str) -> list[tuple[Any, ...]]:
        """One statement as the superuser."""
        with psycopg.connect(self.address(database, "postgres"), autocommit=True) as connection:
            done = connection.execute(statement)
            return done.fetchall() if done.description else []

    def close(self) -> None:
        """Ends the server and forgets it."""
        self._admin.close()
        self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [str(self._bin / program), *arguments],
            cwd=self.folder,
            capture_output=True,
            text=True,
            check=False,
            **self._as,
        )
        if done.returncode:
            raise RuntimeError(f"{program} failed: {done.stdout}{done.stderr}")
