"""The register of sources: what stands behind the constants and formulas of the live code, counted by kind.

`python tests/source_register.py` writes it into DEVELOPERS.md; tests/test_source_register.py compares. It reads the
comments and docstrings of logger, hardware and web, and the sources that findings carry. A marker is what the house
writes beside a number: a citation, "second hand" or "as public … quote it", a reference library, "closed form",
"common practice" or a choice of our own, "from memory". The counts are of markers, not of numbers.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DOCUMENT = ROOT / "DEVELOPERS.md"
LIVE = ("hardware", "logger", "web")
BEGIN, END = (
    "<!-- register of sources: begin (tests/source_register.py) -->",
    "<!-- register of sources: end -->",
)

PRINTED, QUOTED, LIBRARY = "printed", "quoted", "library"
CLOSED, PRACTICE, MEMORY = "closed form", "practice or choice", "from memory"
KINDS = (PRINTED, QUOTED, LIBRARY, CLOSED, PRACTICE, MEMORY)

#: What a program keeps in its memory is no source: the watch that goes on from memory when its disk is full.
_KEPT_BEFORE = (
    *("on", "sent", "straight", "delivered", "watched", "told", "loud", "message", "page", "came"),
    *("used:", "compressed,", "be it", "has not,", "its limit,"),
)
_KEPT = "".join(f"(?<!{words} )" for words in _KEPT_BEFORE)
_MARKERS = {
    MEMORY: re.compile(_KEPT + r'(?<!")\bfrom memory\b(?!:)(?! alone)(?!")', re.IGNORECASE),
    PRACTICE: re.compile(r"\bcommon practice\b|\b(?:project's|own) choice\b", re.IGNORECASE),
    CLOSED: re.compile(r"\bclosed forms?\b", re.IGNORECASE),
    QUOTED: re.compile(
        r"\bsecond hand\b|, abstract\)"
        r"|\bas (?:a )?(?:public|later) [\w '&]+ (?:quotes?|have|has|prints?|gives?|reads?)\b",
        re.IGNORECASE,
    ),
    LIBRARY: re.compile(r"\b(?:by|from|with) (?:psychrolib|shapely|scipy|segno)\b"),
}
_CITED = re.compile(
    # an author and a year, which is no month's
    r"\b(?!(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]* )[A-Z][\w’'-]+(?:,? (?:&|and) [A-Z][\w-]+)*"
    r"(?: et al\.?)?,? \(?(?:18|19|20)\d\d\b(?! [A-Z°%])"
    r"|\b(?:ISO|IEC|EN|ASTM|ASME|RFC|JCGM|NIST|ASVS|WCAG|ISA|EEMUA|FPL)[ /-]?[\w/. -]*\d"
    r"|\bHandbook\b|\bRoark|\bOWASP\b|\b(?:chip|DS18B20)'s data sheet\b|\bApplication Note \d"
    r"|\bkernel's documentation\b"
)
#: A full stop after one of these ends no sentence.
_ABBREVIATED = re.compile(
    r"\b(Polym|Eng|Sci|Appl|Adv|Stat|Assoc|Rev|Comput|Graph|Math|Numer|Anal|Chem|Phys|Int|Adhes|Ann|Meteorol|Basic|Am|ed"
    r"|ch|eqs?|al|Mon|Mech|App|Soc|Res|Lett|Macromol|Symp|Therm|Calorim|[A-Z])\."
)
_SENTENCE = re.compile(r"(?<=[^\s])[.;]\s+(?=[A-Z(\"“])")


@dataclass(frozen=True, slots=True)
class Marker:
    """One marker: its kind, where it stands, and the sentence that it stands in."""

    kind: str
    file: str
    name: str
    sentence: str


def markers_of(text: str) -> Iterator[tuple[str, str]]:
    """Return (kind, sentence) of each marker in the text of one comment or docstring.

    A sentence with a citation counts once as printed, unless it says itself that it was quoted, derived or remembered.
    """
    plain = _ABBREVIATED.sub(r"\1․", " ".join(text.split()))
    before = ""
    for part in _SENTENCE.split(plain):
        sentence = part.replace("․", ".")
        told = [
            (kind, found.end()) for kind, pattern in _MARKERS.items() for found in pattern.finditer(sentence)
        ]
        # "From memory." alone says nothing: the sentence before it is what was remembered.
        yield from (
            (kind, sentence[:end] if end > 20 else f"{before}. {sentence[:end]}") for kind, end in told
        )
        if _CITED.search(sentence) and not {MEMORY, QUOTED, CLOSED, LIBRARY} & {kind for kind, _ in told}:
            yield PRINTED, sentence
        before = sentence


def markers_in(file: Path, root: Path = ROOT) -> Iterator[Marker]:
    """Every marker of one module: comments, docstrings, and the sources of its constants."""
    source = file.read_text(encoding="utf-8")
    where = file.relative_to(root).as_posix()
    lines = source.splitlines()
    for line, text in _comments(source):
        name = _name_after(lines, line)
        yield from (Marker(kind, where, name, sentence) for kind, sentence in markers_of(text))
    tree = ast.parse(source)
    for name, text in _docstrings(tree):
        yield from (Marker(kind, where, name, sentence) for kind, sentence in markers_of(text))
    yield from (Marker(kind, where, name, said) for kind, name, said in _sources_given(tree))


def _comments(source: str) -> Iterator[tuple[int, str]]:
    """Return (last line, text) of each run of comment lines."""
    run: list[str] = []
    last = column = -1
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type != tokenize.COMMENT:
            continue
        at, begins = token.start
        if run and (at != last + 1 or begins != column):
            yield last, " ".join(run)
            run = []
        run.append(token.string.lstrip("#: "))
        last, column = at, begins
    if run:
        yield last, " ".join(run)


def _name_after(lines: Sequence[str], line: int) -> str:
    """Return what a comment speaks of: the name on its own line, or on the next that has one."""
    own = lines[line - 1].partition("#")[0].strip()
    for text in [own, *lines[line:]] if own else lines[line:]:
        found = re.match(r"\s*(?:async def|def|class)?\s*([A-Za-z_][\w.]*)", text)
        if found and text.strip() and not text.lstrip().startswith("#"):
            return found[1]
    return "end of module"


def _docstrings(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Return (name, text) of each docstring; the module's own has the name "module"."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            text = ast.get_docstring(node)
            if text:
                yield getattr(node, "name", "module"), text


def _sources_given(tree: ast.Module) -> Iterator[tuple[str, str, str]]:
    """Return (kind, name, what is said) of each source that is an argument: a title, or a fact that says its kind."""
    for statement in tree.body:
        name = _target(statement)
        for node in ast.walk(statement):
            if not isinstance(node, ast.Call):
                continue
            for argument in [*node.args, *(keyword.value for keyword in node.keywords)]:
                said = ast.unparse(argument)
                kind = _kind_given(said)
                if kind:
                    first = node.args[0] if node.args else None
                    inner = ast.unparse(first) if isinstance(first, ast.Constant) else ""
                    yield kind, f"{name} {inner}".strip(), f"source given as {said}"


def _target(statement: ast.stmt) -> str:
    if isinstance(statement, ast.Assign):
        return ast.unparse(statement.targets[0])
    return str(getattr(statement, "name", "module"))


def _kind_given(said: str) -> str | None:
    if re.fullmatch(r"works\.[A-Z0-9_]+", said):
        return PRINTED
    if said in ("FROM_MEMORY", "_MEMORY"):
        return MEMORY
    if said in ("COMMON_PRACTICE", "PROJECT_CHOICE"):
        return PRACTICE
    code = re.fullmatch(r"fact\('(source\.[\w-]+)'.*\)", said)
    return _KIND_OF_FACT.get(code[1]) if code else None


#: Facts that a finding carries as its source, by what their English says of them.
_KIND_OF_FACT = {
    "source.rough-from-memory": MEMORY,
    "source.work-from-memory": MEMORY,
    "source.en-12369": MEMORY,
    "source.en-622-5": MEMORY,
    "source.particleboard-core": MEMORY,
    "source.meter-correction": MEMORY,
    "source.common-practice": PRACTICE,
    "source.creep-common-practice": PRACTICE,
    "source.jet-range": PRACTICE,
    "source.beam-tables": CLOSED,
    "source.iso-8502-4": QUOTED,
    "source.iso-12944-7": QUOTED,
}


def live_files(root: Path = ROOT) -> list[Path]:
    """Every module of the live code but the words, which say what others know, and the database's migrations."""
    return [
        file
        for package in LIVE
        for file in sorted((root / package).rglob("*.py"))
        if not {"words", "migrations"} & set(file.relative_to(root).parts)
    ]


def files_of_tests() -> list[Path]:
    """Every module of the tests that says "from memory", but this register and its own test."""
    return [
        file
        for file in sorted((ROOT / "tests").rglob("*.py"))
        if "source_register" not in file.name and "from memory" in file.read_text(encoding="utf-8").lower()
    ]


def all_markers(files: Iterable[Path], root: Path = ROOT) -> list[Marker]:
    """The markers of some files, in their order."""
    return [marker for file in files for marker in markers_in(file, root)]


def room_of(file: str) -> str:
    """Return the room that a file belongs to: its folder, three deep at most."""
    return "/".join(file.split("/")[:-1][:3])


def register(live: Sequence[Marker], tests: Sequence[Marker]) -> str:
    """Return the register as Markdown: counts by room and kind, then each "from memory" with its place."""
    count = Counter((room_of(marker.file), marker.kind) for marker in live)
    rooms = sorted({room for room, _ in count})
    lines = ["| room | " + " | ".join(KINDS) + " |", "|---|" + "---:|" * len(KINDS)]
    lines += [
        f"| `{room}` | " + " | ".join(str(count[room, kind] or "") for kind in KINDS) + " |" for room in rooms
    ]
    total = Counter(marker.kind for marker in live)
    lines += ["| **all** | " + " | ".join(f"**{total[kind]}**" for kind in KINDS) + " |", ""]
    lines += [f"From memory in the live code ({total[MEMORY]}):", "", *_listed(live)]
    remembered = [marker for marker in tests if marker.kind == MEMORY]
    lines += ["", f"Checks from memory in the tests ({len(remembered)}):", "", *_listed(tests)]
    return "\n".join(lines) + "\n"


def _listed(markers: Sequence[Marker]) -> list[str]:
    return [
        f"- `{marker.file}`, `{marker.name}`: {_short(marker.sentence)}"
        for marker in markers
        if marker.kind == MEMORY
    ]


def _short(sentence: str, most: int = 100) -> str:
    """Return the end of a sentence, no more of it than a line holds, with what it opened closed."""
    text = sentence.replace("|", "¦").replace("`", "'")
    if len(text) > most:
        text = "…" + text[-most:].partition(" ")[2]
    return text + ")" * max(0, text.count("(") - text.count(")"))


def with_register(document: str, text: str) -> str:
    """Return the document with the register between its two marks. Raises ValueError without them."""
    before, begin, rest = document.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"DEVELOPERS.md lacks the marks {BEGIN} and {END}")
    return f"{before}{BEGIN}\n\n{text}\n{END}{after}"


def written() -> str:
    """Return the register as it should stand now."""
    return register(all_markers(live_files()), all_markers(files_of_tests()))


if __name__ == "__main__":
    DOCUMENT.write_text(with_register(DOCUMENT.read_text(encoding="utf-8"), written()), encoding="utf-8")
