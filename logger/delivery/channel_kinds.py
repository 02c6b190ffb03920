"""The kinds of ways to a phone that a page offers: what each needs, and how the message library writes it.

Open standards first. Whatever else the library knows is offered from its own list (`library_kinds.py`), or can be typed
as the library writes it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from urllib.parse import quote, unquote, urlencode, urlsplit

from logger.delivery.web_push import subscription_of
from logger.errors import BadInput
from logger.words.phrase import phrase

#: Longest entry, and longest address, in characters.
LONGEST_ENTRY, LONGEST_URL = 1000, 4000
#: Kinds of the library that reach no phone: they write to this machine's own log or screen.
STAYS_HERE = frozenset(
    ("syslog", "dbus", "kde", "qt", "glib", "gnome", "macosx", "windows", "blink1", "growl")
)
#: Parameters with which the library reads a file of this machine, and may send it on.
NAMES_A_FILE = frozenset(
    ("template", "keyfile", "subfile", "pgp", "pgpkey", "pgppub", "pgpprv", "attach", "file", "file_url")
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One field of a form. secret: never shown again. choices: value → words."""

    name: str
    label: str
    hint: str = ""
    secret: bool = False
    required: bool = True
    choices: tuple[tuple[str, str], ...] = ()
    start: str = ""
    input: str = "text"


@dataclass(frozen=True, slots=True)
class MailLogin:
    """What is needed to say why a mail server refuses."""

    encryption: str
    user: str
    password: str
    sender: str
    to: str


@dataclass(frozen=True, slots=True)
class Target:
    """A way as the library writes it, and what is needed to say what is wrong with it. about: without secrets."""

    url: str
    about: str
    host: str = ""
    port: int = 0
    tls: bool = False
    mail: MailLogin | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of way: its words, its fields, and what makes an address of them."""

    name: str
    title: str
    says: str
    entries: tuple[Entry, ...]
    target: Callable[[Mapping[str, str]], Target]


def target_of(kind: Kind, entries: Mapping[str, str]) -> Target:
    """Return the address that entries make. Raises BadInput naming the field, what is allowed, and the remedy."""
    for entry in kind.entries:
        value = entries.get(entry.name, "")
        if entry.required and not value.strip():
            raise BadInput(entry.label, phrase("is empty"), remedy=phrase("fill it in"))
        if len(value) > LONGEST_ENTRY or not value.isprintable():
            raise BadInput(
                entry.label,
                phrase("cannot be read"),
                allowed=phrase("one line of {n} characters", n=LONGEST_ENTRY),
                remedy=phrase("type it again"),
            )
        if entry.choices and value and value not in dict(entry.choices):
            raise BadInput(
                entry.label,
                phrase("is not one of the choices"),
                value=value,
                allowed=phrase("{choices}", choices=[words for _value, words in entry.choices]),
                remedy=phrase("choose one"),
            )
    target = kind.target({name: value.strip() for name, value in entries.items()})
    if len(target.url) > LONGEST_URL:
        raise BadInput(
            phrase("what was typed"),
            phrase("is too long"),
            allowed=phrase("{n} characters", n=LONGEST_URL),
            remedy=phrase("shorten it"),
        )
    return target


@dataclass(frozen=True, slots=True)
class Server:
    """A server as somebody types it: a name, or an address with http:// or https://."""

    host: str
    port: int | None
    tls: bool
    path: str = ""

    @property
    def netloc(self) -> str:
        """Host and port as a URL has them."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port is None else f"{host}:{self.port}"

    @property
    def port_used(self) -> int:
        """The port that is called."""
        return self.port or (443 if self.tls else 80)


def server_of(label: str, text: str) -> Server:
    """Return the server of an address on the web. Raises BadInput."""
    whole = text if "://" in text else f"https://{text}"
    wrong = BadInput(
        label,
        phrase("is not the address of a server"),
        allowed=phrase("http:// or https://, a name or number, and a port if it has one"),
        remedy=phrase("write it as in a browser, such as https://push.example or http://192.168.1.20:8080"),
    )
    try:
        parts = urlsplit(whole)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise wrong from None
    if parts.scheme not in ("http", "https") or not _is_host(host) or parts.username or parts.password:
        raise wrong
    return Server(str(host), port, parts.scheme == "https", parts.path.rstrip("/"))


def _is_host(host: str | None) -> bool:
    return host is not None and re.fullmatch(r"[A-Za-z0-9._-]{1,253}|[0-9A-Fa-f:.]{2,45}", host) is not None


def _port(label: str, text: str, usual: int) -> int:
    if not text:
        return usual
    if not re.fullmatch(r"[0-9]{1,5}", text) or not 1 <= int(text) <= 65535:
        raise BadInput(
            label,
            phrase("is not a port"),
            value=text,
            allowed=phrase("1 to 65535"),
            remedy=phrase("usually {usual}", usual=usual),
        )
    return int(text)


def _login(user: str, password: str) -> str:
    if not user:
        return ""
    return f"{quote(user, safe='')}:{quote(password, safe='')}@" if password else f"{quote(user, safe='')}@"


def _mail_address(label: str, text: str) -> str:
    if not re.fullmatch(r"[^\s@<>,;]{1,64}@[A-Za-z0-9.-]{1,255}", text):
        raise BadInput(label, phrase("is not a mail address"), remedy=phrase("write it as name@domain"))
    return text


#: What a mail server is spoken to with: value → (words, usual port, the library's word).
_ENCRYPTION = {
    "starttls": (phrase("STARTTLS (most servers, port 587)"), 587, "starttls"),
    "tls": (phrase("TLS from the first word (port 465)"), 465, "ssl"),
    "none": (phrase("none (a server in the workshop alone, port 25)"), 25, "insecure"),
}


def _mail(entries: Mapping[str, str]) -> Target:
    to = _mail_address(phrase("Send to"), entries["to"])
    host = entries["server"]
    if not _is_host(host):
        raise BadInput(
            phrase("Mail server"),
            phrase("is not a server's name"),
            value=host,
            remedy=phrase("such as smtp.example.org"),
        )
    encryption = entries.get("encryption") or "starttls"
    _words, usual, mode = _ENCRYPTION[encryption]
    port = _port(phrase("Port"), entries.get("port", ""), usual)
    user, password = entries.get("user", ""), entries.get("password", "")
    sender = entries.get("sender") or (user if "@" in user else to)
    _mail_address(phrase("From"), sender)
    query = urlencode({"smtp": host, "to": to, "from": sender, "mode": mode}, quote_via=quote)
    scheme = "mailto" if encryption == "none" else "mailtos"
    netloc = Server(host, port, False).netloc
    return Target(
        f"{scheme}://{_login(user, password)}{netloc}?{query}",
        f"to {_half(to)} by {host}",
        host,
        port,
        encryption == "tls",
        MailLogin(encryption, user, password, sender, to),
    )


def _half(address: str) -> str:
    name, _, domain = address.partition("@")
    return f"{name[:1]}…@{domain}"


def _by_topic(entries: Mapping[str, str]) -> Target:
    server = server_of(phrase("Server"), entries["server"])
    topic = entries["topic"]
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,64}", topic):
        raise BadInput(
            phrase("Topic"),
            phrase("is not a topic"),
            allowed=phrase("1 to 64 letters, digits, - and _"),
            remedy=phrase("leave others out"),
        )
    scheme = "ntfys" if server.tls else "ntfy"
    token = entries.get("token", "")
    login = (
        f"{quote(token, safe='')}@" if token else _login(entries.get("user", ""), entries.get("password", ""))
    )
    url = f"{scheme}://{login}{server.netloc}/{topic}" + ("?auth=token" if token else "")
    return Target(url, f"by {server.host}", server.host, server.port_used, server.tls)


def _by_token(entries: Mapping[str, str]) -> Target:
    server = server_of(phrase("Server"), entries["server"])
    scheme = "gotifys" if server.tls else "gotify"
    url = f"{scheme}://{server.netloc}{server.path}/{quote(entries['token'], safe='')}"
    return Target(url, f"by {server.host}", server.host, server.port_used, server.tls)


def _hook(entries: Mapping[str, str]) -> Target:
    server = server_of(phrase("Address"), entries["address"])
    scheme = "jsons" if server.tls else "json"
    query = urlsplit(
        entries["address"] if "://" in entries["address"] else f"https://{entries['address']}"
    ).query
    # A parameter of the address itself: the library would take it for one of its own.
    passed = "&".join(f"-{part}" for part in query.split("&") if part)
    login = _login(entries.get("user", ""), entries.get("password", ""))
    path = quote(unquote(server.path), safe="/")
    url = f"{scheme}://{login}{server.netloc}{path}" + (f"?{passed}" if passed else "")
    return Target(url, f"to {server.host}", server.host, server.port_used, server.tls)


def _chat(entries: Mapping[str, str]) -> Target:
    server = server_of(phrase("Server"), entries["server"])
    room = entries["room"]
    if not re.fullmatch(r"[!#][^\s:/?&]{1,200}(:[A-Za-z0-9.-]+(:[0-9]{1,5})?)?", room):
        raise BadInput(
            phrase("Room"),
            phrase("is not a room"),
            allowed=phrase("#name:server or !id:server"),
            remedy=phrase("copy it whole"),
        )
    scheme = "matrixs" if server.tls else "matrix"
    login = _login(entries["user"], entries["password"])
    url = f"{scheme}://{login}{server.netloc}/{quote(room, safe='')}"
    return Target(url, f"in a room by {server.host}", server.host, server.port_used, server.tls)


def _other(entries: Mapping[str, str]) -> Target:
    return of_library(entries["url"])


def of_library(url: str) -> Target:
    """Return an address as the library writes it. Raises BadInput for one that reaches no phone, or names a file."""
    scheme, mark, rest = url.partition("://")
    if not mark or not re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]{0,19}", scheme):
        raise BadInput(
            phrase("Address"),
            phrase("has no kind of service in front"),
            allowed="kind://…",
            remedy=phrase("write it as the message library does: its kind, then ://, then the rest"),
        )
    scheme = scheme.lower()
    if scheme in STAYS_HERE:
        raise BadInput(
            phrase("Address"),
            phrase("{scheme}:// stays on this machine", scheme=scheme),
            remedy=phrase("choose one that reaches a phone"),
        )
    if scheme in ("vapid", "webpush"):
        raise BadInput(
            phrase("Address"),
            phrase("is set up by the phone itself"),
            remedy=phrase("choose “This phone or browser itself”"),
        )
    query = rest.partition("?")[2]
    names = {unquote(part.partition("=")[0]).strip().lower() for part in query.split("&")}
    if files := sorted(names & NAMES_A_FILE):
        raise BadInput(
            phrase("Address"),
            phrase("names a file of this machine ({names})", names=", ".join(files)),
            remedy=phrase("leave that part out"),
        )
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port or 0
    except ValueError:
        host, port = "", 0
    named = "." in host or host == "localhost"
    return Target(url, f"by {host}" if named else f"by {scheme}://…", host if named and port else "", port)


def _browser(entries: Mapping[str, str]) -> Target:
    there = subscription_of(entries["endpoint"], entries["p256dh"], entries["auth"], entries["key"])
    host = urlsplit(there.endpoint).hostname or ""
    about = f"by {host}" if not entries.get("name") else f"{entries['name']}, by {host}"
    return Target(there.url, about)


_USER = Entry("user", phrase("User name"), required=False)
_PASSWORD = Entry("password", phrase("Password"), secret=True, required=False, input="password")
KINDS: tuple[Kind, ...] = (
    Kind(
        "mail",
        phrase("Mail"),
        phrase(
            "A mail to any address, by your own mail account. Switch on a loud sound for it on the phone."
        ),
        (
            Entry("to", phrase("Send to"), phrase("the mail address that the phone reads"), input="email"),
            Entry(
                "server",
                phrase("Mail server"),
                phrase("the outgoing one (SMTP) of your mail account, such as smtp.example.org"),
            ),
            Entry("user", phrase("User name"), phrase("usually the whole mail address"), required=False),
            Entry(
                "password",
                phrase("Password"),
                phrase("of the mail account; many ask for one made for a program"),
                secret=True,
                required=False,
                input="password",
            ),
            Entry(
                "encryption",
                phrase("Encryption"),
                choices=tuple((name, words) for name, (words, _port_, _mode) in _ENCRYPTION.items()),
                start="starttls",
            ),
            Entry("port", phrase("Port"), phrase("empty: the usual one"), required=False),
            Entry("sender", phrase("From"), phrase("empty: your user name's address"), required=False),
        ),
        _mail,
    ),
    Kind(
        "topic",
        phrase("Push, by a topic"),
        phrase(
            "A push server of your own or an open one, spoken to as ntfy://; the phone’s app listens to the same topic."
        ),
        (
            Entry(
                "server",
                phrase("Server"),
                phrase("as in a browser: https://push.example, or http://192.168.1.20:8080"),
            ),
            Entry(
                "topic",
                phrase("Topic"),
                phrase("the word that the app listens to; on an open server one that nobody guesses"),
                secret=True,
            ),
            Entry(
                "token", phrase("Token"), phrase("if the server asks for one"), secret=True, required=False
            ),
            _USER,
            _PASSWORD,
        ),
        _by_topic,
    ),
    Kind(
        "token",
        phrase("Push, by a token"),
        phrase("A push server of your own, spoken to as gotify://; it shows a token for each sender."),
        (
            Entry(
                "server",
                phrase("Server"),
                phrase("as in a browser: https://push.example, or http://192.168.1.20:8080"),
            ),
            Entry("token", phrase("Token"), phrase("the sender's, from the server's page"), secret=True),
        ),
        _by_token,
    ),
    Kind(
        "chat",
        phrase("Chat room"),
        phrase("A room on a Matrix server, where a user of its own writes."),
        (
            Entry("server", phrase("Server"), phrase("as in a browser: https://matrix.example")),
            Entry("user", phrase("User name"), phrase("of the one who writes")),
            Entry("password", phrase("Password"), secret=True, input="password"),
            Entry("room", phrase("Room"), phrase("its address, such as #workshop:matrix.example")),
        ),
        _chat,
    ),
    Kind(
        "hook",
        phrase("Web hook"),
        phrase("Title and text are sent as JSON (POST) to an address of yours."),
        (
            Entry(
                "address",
                phrase("Address"),
                phrase("http:// or https://, with everything behind it"),
                secret=True,
            ),
            _USER,
            _PASSWORD,
        ),
        _hook,
    ),
    Kind(
        "other",
        phrase("Another address"),
        phrase("Whatever the message library knows, typed as it writes it: kind://…"),
        (
            Entry(
                "url",
                phrase("Address"),
                phrase("in a name or password [ is written %5B, ] %5D, # %23, / %2F, ? %3F and @ %40"),
                secret=True,
            ),
        ),
        _other,
    ),
)
#: A browser fills in its own form: nobody types it.
BROWSER = Kind(
    "webpush",
    phrase("This phone or browser itself"),
    "",
    (
        Entry("endpoint", phrase("Endpoint"), secret=True),
        Entry("p256dh", phrase("Key"), secret=True),
        Entry("auth", phrase("Secret"), secret=True),
        Entry("key", phrase("Sender"), secret=True),
        Entry("name", phrase("Name"), required=False),
    ),
    _browser,
)
BY_NAME = {kind.name: kind for kind in (*KINDS, BROWSER)}
