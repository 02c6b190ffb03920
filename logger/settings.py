"""The service's settings: one TOML file, unknown names refused, each with its unit in its name."""

from __future__ import annotations

import socket
import tomllib
from functools import cache
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from pydantic import Field, ValidationError, model_validator

from logger.errors import BadSettings
from logger.facts import fact
from logger.input_errors import input_problem, most_telling
from logger.toml_table import Table
from logger.toml_text import toml_problem

#: What listens on every address of the machine, and is none that a phone could open.
EVERYWHERE = ("0.0.0.0", "::")
#: This machine itself, for whoever asks on it: nobody else comes here by these.
LOOPBACK = ("127.0.0.1", "localhost", "::1")


@cache
def own_address() -> str:
    """Return the address by which this machine's network reaches it, or its name where there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the kernel is asked which address it would send from (TEST-NET-1, RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return f"{socket.gethostname().partition('.')[0]}.local"


class Messages(Table):
    """Where alarms go. Each URL is one channel of the message library (mail, webhook, own push server, SMS)."""

    urls: list[str] = Field(default=[], description="channels that are told first, all of them")
    second_urls: list[str] = Field(
        default=[], description="channels that are told when nobody has acknowledged in time"
    )
    who: str | None = Field(
        default=None,
        min_length=1,
        max_length=60,
        description="who is told first: the name on what their link does",
    )
    second_who: str | None = Field(
        default=None, min_length=1, max_length=60, description="the same of those who are told next"
    )
    second_after_min: float = Field(
        default=10, gt=0, le=720, description="how long the first group has before the second is told"
    )
    quiet_from: str | None = Field(
        default=None,
        pattern=r"^[0-2]\d:[0-5]\d$",
        description="time of day, such as 22:00, from which messages of low priority wait",
    )
    quiet_until: str | None = Field(
        default=None, pattern=r"^[0-2]\d:[0-5]\d$", description="time of day until which they wait"
    )
    heartbeat_url: str | None = Field(
        default=None,
        description="address called every minute while readings arrive, are judged, and messages get through",
    )
    timeout_s: float = Field(default=4, gt=0, le=60, description="a channel's time to answer")
    test_every_h: float = Field(
        default=24,
        ge=1,
        le=168,
        description="how often a test message is sent that somebody confirms with a tap",
    )


class FirstHour(Table):
    """How often somebody looks at the form after pouring: common practice, no source."""

    every_min: float = Field(default=5, ge=1, le=60, description="how often at first")
    first_min: float = Field(default=30, ge=0, le=1440, description="how long that lasts after pouring")
    then_every_min: float = Field(default=10, ge=1, le=120, description="how often after that")
    until_min: float = Field(default=60, ge=0, le=1440, description="when the looks end, after pouring")


class FanSettings(Table):
    """What the service may do with a station's fan relay by itself."""

    on_forecast: bool = Field(
        default=False,
        description="fan on when the core is too hot or will be, off once the pour does without",
    )


class Https(Table):
    """Encrypted connections: by a certificate of one's own, or by a proxy on this machine that has one."""

    certificate: str | None = Field(default=None, description="PEM file, the whole chain")
    key: str | None = Field(default=None, description="PEM file, readable by the service alone")
    behind_proxy: bool = Field(
        default=False, description="whether a proxy on this machine speaks HTTPS for it"
    )

    @model_validator(mode="after")
    def _both_or_neither(self) -> Https:
        if (self.certificate is None) != (self.key is None):
            raise ValueError(fact("settings-certificate-with-key"))
        return self


class OperatorSettings(Table):
    """For whoever runs the service on a server."""

    metrics_token: str | None = Field(
        default=None,
        min_length=16,
        description="token that opens /metrics from other machines; without it from this one alone",
    )
    log_format: Literal["text", "json"] = Field(
        default="text",
        description="how the log is written; json is one object a line, for programs that gather logs",
    )


class Settings(Table):
    """Everything that the service can be told from outside."""

    data_dir: str = Field(default="pourlog-data", description="folder of database, photos and records")
    database_url: str | None = Field(
        default=None, description="a PostgreSQL server's database instead of data_dir's own"
    )
    host: str = Field(
        default="127.0.0.1", description="address to listen on; 0.0.0.0 for the workshop's network"
    )
    port: int = Field(default=8080, ge=1, le=65535, description="port to listen on")
    public_url: str | None = Field(
        default=None, description="address that phones reach, for links in messages"
    )
    workshop: str = Field(
        default="The workshop",
        min_length=1,
        max_length=100,
        description="name of the workshop, on pages, messages and records",
    )
    watch_period_s: float = Field(
        default=2, gt=0, le=30, description="how often alarms are judged without news"
    )
    messages: Messages = Messages()
    https: Https = Https()
    first_hour: FirstHour = FirstHour()
    fan: FanSettings = FanSettings()
    operating: OperatorSettings = OperatorSettings()

    @property
    def database(self) -> str:
        """The database's URL."""
        return self.database_url or f"sqlite:///{Path(self.data_dir) / 'pourlog.sqlite3'}"

    @property
    def link_base(self) -> str:
        """What links in messages start with, without a closing slash."""
        scheme = "http" if self.https.certificate is None else "https"
        host = own_address() if self.host in EVERYWHERE else self.host
        return (self.public_url or f"{scheme}://{host}:{self.port}").rstrip("/")

    @property
    def phones_reach_it(self) -> bool:
        """Whether the address in links leads anybody but this machine here."""
        host = urlsplit(self.link_base).hostname or ""
        return host not in LOOPBACK


def read_settings(path: Path) -> Settings:
    """Return the settings in a TOML file.

    Raises BadSettings naming the file, the name, the value, what is allowed and the remedy.
    """
    try:
        text = path.read_text(encoding="utf-8")
        table = tomllib.loads(text)
    except OSError as error:
        problem = fact("file-not-opened", reason=str(error.strerror))
        raise BadSettings(str(path), problem, remedy=fact("file-give-settings-file")) from error
    except UnicodeDecodeError as error:
        raise BadSettings(str(path), fact("file-no-utf8"), remedy=fact("file-save-as-utf8")) from error
    except tomllib.TOMLDecodeError as error:
        mistake_at, remedy = toml_problem(str(error), text)
        raise BadSettings(str(path), mistake_at, remedy=remedy) from error
    try:
        return Settings.model_validate(table)
    except ValidationError as error:
        first = most_telling(error.errors())
        mistake = input_problem(first, Settings)
        name = ".".join(mistake.path)
        # An address of [messages] carries passwords: it is not repeated where a journal keeps it.
        secret = "url" in name or "token" in name or isinstance(first["input"], dict)
        raise BadSettings(
            f"{path}: {name}" if name else str(path),
            fact("settings-unknown") if first["type"] == "extra_forbidden" else mistake.problem,
            value=None if secret else first["input"],
            allowed=mistake.allowed,
            remedy=fact("settings-mend-or-help", remedy=mistake.remedy)
            if mistake.remedy
            else fact("settings-in-the-help"),
        ) from error
