"""The documents say what the program is: every command, setting and key of the plan file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from logger.daemon import station_file
from logger.plan.file import Plan
from logger.settings import Settings
from web.command import app
from web.documents import HELP, pages
from web.views.help_text import OFFERED

README = Path(__file__).parent.parent / "README.md"
ROOT = README.parent
INSTALLATION = HELP / "installation.md"
DOCUMENTS = [
    *sorted(ROOT.glob("*.md")),
    *sorted(HELP.glob("*.md")),
    ROOT / "web" / "SECURITY.md",
    ROOT / "tests" / "bench" / "FIGURES.md",
]
#: What else speaks to a person about commands.
SPEAKING = [
    *DOCUMENTS,
    *sorted((ROOT / "web" / "templates").glob("*.html")),
    *sorted((ROOT / "systemd").iterdir()),
    *sorted((ROOT / "logger" / "diagnosis").glob("*.py")),
]
#: A command in code: in backticks, in a code block, in <code>, in a unit.
COMMAND = re.compile(
    r"(?:^    (?:sudo )?|`(?:sudo )?|<code[^>]*>(?:sudo )?|bin/|\bsudo )pourlog ([a-z][a-z-]*)([^`<\n]*)",
    re.MULTILINE,
)


@pytest.mark.parametrize("name", sorted(pages()))
def test_a_help_page_is_what_the_program_says(name: str) -> None:
    """Changed a command, setting or key? Run python -m web.documents"""
    assert (HELP / name).read_text(encoding="utf-8") == pages()[name]


def keys_of(model: Any, before: str = "") -> Iterator[str]:
    """Every key of a file by table and name, read from the model on a way of the test's own: its JSON schema."""
    schema = model.model_json_schema(by_alias=True)

    def within(node: dict[str, Any], table: str) -> Iterator[str]:
        for name, value in node["properties"].items():
            named = re.findall(r"'#/\$defs/(\w+)'", str(value))
            if named:
                yield from within(schema["$defs"][named[0]], f"{table}.{name}" if table else name)
            else:
                yield f"{table}.{name}" if table else name

    return within(schema, before)


def keys_on(page: str) -> dict[str, list[str]]:
    """table.key → its cells, of every row on a help page."""
    found, table = {}, ""
    for line in (HELP / page).read_text(encoding="utf-8").splitlines():
        if heading := re.fullmatch(r"## \[+([\w.]+)\]+", line):
            table = heading[1]
        elif row := re.fullmatch(r"\| `(\w+)` \| (.*) \|", line):
            found[f"{table}.{row[1]}" if table else row[1]] = row[2].split(" | ")
    return found


@pytest.mark.parametrize(("model", "page"), [(Settings, "settings.md"), (Plan, "plan-file.md")])
def test_every_key_has_its_sentence_and_its_default(model: Any, page: str) -> None:
    """Whoever looks a key up finds it, and what it means."""
    there = keys_on(page)
    assert set(keys_of(model)) == set(there)
    for key, (meaning, _unit, default, _allowed) in there.items():
        assert meaning.endswith("."), key
        assert len(meaning.split()) > 2, key
        assert default.strip(), key


@pytest.mark.parametrize(
    ("page", "key", "unit", "default", "allowed"),
    [
        ("plan-file.md", "pour.depth_mm", "mm", "required", "above 0 to 1,000"),
        ("plan-file.md", "air.relative_humidity_pct", "%", "none", "0 to 100"),
        ("plan-file.md", "form.underside", "", "none", "open, closed"),
        ("settings.md", "messages.second_after_min", "min", "10", "above 0 to 720"),
        ("settings.md", "https.behind_proxy", "", "false", "true, false"),
    ],
)
def test_a_key_is_shown_with_unit_default_and_range(
    page: str, key: str, unit: str, default: str, allowed: str
) -> None:
    """As the model itself refuses and fills in."""
    assert [cell.strip() for cell in keys_on(page)[key][1:]] == [unit, default, allowed]


def test_every_command_has_its_section_with_its_options() -> None:
    """Nothing on the command line is left out of the help."""
    sections = dict(
        re.findall(
            r"^## pourlog ([a-z-]+)$(.*?)(?=^## |\Z)",
            (HELP / "commands.md").read_text(encoding="utf-8"),
            re.MULTILINE | re.DOTALL,
        )
    )
    commands = typer.main.get_group(app).commands
    assert set(sections) == set(commands)
    for name, command in commands.items():
        for parameter in command.params:
            for option in parameter.opts if parameter.param_type_name == "option" else []:
                assert option == "--help" or option in sections[name], (name, option)


def test_every_help_page_is_offered_in_the_app_and_linked_from_the_readme() -> None:
    """None is written that nobody comes to."""
    there = {path.stem for path in HELP.glob("*.md")}
    assert there == set(OFFERED)
    linked = set(re.findall(r"\(web/help/([a-z-]+)\.md\)", README.read_text(encoding="utf-8")))
    assert linked == there


def test_the_first_paragraph_states_the_job() -> None:
    """A stranger knows what this is before the first command."""
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    for word in ("epoxy", "how hot the middle will get", "thermometers", "forecast", "record"):
        assert word in first.replace("\n", " ")


def commands_in(path: Path) -> list[tuple[str, list[str]]]:
    """(command, its options) of every `pourlog …` that a file names."""
    text = path.read_text(encoding="utf-8")
    return [(name, re.findall(r"(?<![\w-])--[a-z][a-z-]*", rest)) for name, rest in COMMAND.findall(text)]


def test_every_command_that_is_named_exists_with_its_options() -> None:
    """In the documents, on pages, in units and in what the check says."""
    known = {
        name: {option for parameter in command.params for option in parameter.opts}
        for name, command in typer.main.get_group(app).commands.items()
    }
    named = [
        (path.name, name, option)
        for path in SPEAKING
        for name, options in commands_in(path)
        for option in ["", *options]
    ]
    assert len({name for _, name, _ in named}) > 8, "the search finds them"
    wrong = [
        entry
        for entry in named
        if entry[1] not in known or (entry[2] and entry[2] not in known[entry[1]] | {"--help"})
    ]
    assert wrong == []


def test_every_option_of_the_installation_is_in_the_help_and_the_other_way_round() -> None:
    """install's own usage, and what installation.md says of it; remove's options are among them."""
    page = INSTALLATION.read_text(encoding="utf-8")
    (table,) = re.findall(r"\| option of `systemd/install`.*?\n\n", page, re.DOTALL)
    said = set(re.findall(r"`(--[a-z0-9-]+)`", table))
    help_text = (ROOT / "systemd" / "install").read_text(encoding="utf-8")
    (usage,) = re.findall(r"usage\(\) \{.*?^END$", help_text, re.DOTALL | re.MULTILINE)
    offered = set(re.findall(r"^  (--[a-z0-9-]+)", usage, re.MULTILINE))
    taken = set(re.findall(r"^    (--[a-z0-9-]+)(?:\|-h)?\)", help_text, re.MULTILINE))
    assert taken == offered
    assert said == offered - {"--help"}
    named = [
        (path.name, option)
        for path in SPEAKING
        for line in re.findall(r"systemd/install([^`\n]*)", path.read_text(encoding="utf-8"))
        for option in re.findall(r"--[a-z0-9-]+", line)
        if option not in offered
    ]
    assert named == []


def test_every_name_of_a_station_file_is_in_the_help_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read from the reader itself, by giving it the example of its own documentation; which it takes."""
    known: set[str] = set()
    done = station_file._Table.done

    def noted(table: Any) -> None:
        known.update(table._allowed)
        done(table)

    monkeypatch.setattr(station_file._Table, "done", noted)
    example = (station_file.__doc__ or "").partition("\n\n")[2]
    path = tmp_path / "station.toml"
    path.write_text(example, encoding="utf-8")
    config = station_file.station_from_file(path)
    assert config.wiring.pins.fan_active_high is False
    there = keys_on("station-file.md")
    tables = {key.split(".")[0] for key in there if "." in key}
    said = {key.split(".")[-1] for key in there} | tables
    assert said == known


def test_every_setting_that_is_named_in_a_text_exists() -> None:
    """`[table] name` in a document, on a page or in what the check says: of the service's file or a station's."""
    settings = {
        f"[{name}]"
        for name in ("messages", "https", "first_hour", "fan", "shops")
        if name in Settings.model_fields
    }
    names = set(keys_on("settings.md"))
    station = {key.split(".")[-1] for key in keys_on("station-file.md")}
    wrong = []
    for path in SPEAKING:
        for table, name in re.findall(
            r"(\[[a-z_]+\]) ([a-z_]+_[a-z_]+|urls)\b", path.read_text(encoding="utf-8")
        ):
            if table in settings and f"{table[1:-1]}.{name}" not in names and name not in station:
                wrong.append((path.name, table, name))
    assert wrong == []


def test_every_file_that_a_document_names_is_there() -> None:
    """In backticks, with a folder in front: a path from the top of this tree."""
    tops = {path.name for path in ROOT.iterdir() if path.is_dir()}
    missing = [
        (path.name, named)
        for path in DOCUMENTS
        for named in re.findall(r"`([a-z]+/[\w./-]+)`", path.read_text(encoding="utf-8"))
        if named.split("/")[0] in tops and not (ROOT / named).exists()
    ]
    assert missing == []


def defines(text: str, name: str) -> bool:
    """Whether a source defines each part of `Class.method`."""
    return all(
        re.search(rf"^\s*(?:async )?(?:def|class|function) {part}\b", text, re.MULTILINE)
        for part in name.split(".")
    )


def test_every_function_that_a_document_names_is_in_its_file() -> None:
    """A file in backticks and a name in backticks right after it: the stops of the walks in DEVELOPERS.md."""
    named = [
        (path.name, file, name)
        for path in DOCUMENTS
        for file, name in re.findall(
            r"`((?:hardware|logger|web)/[\w/]+\.py)` `([A-Za-z_][\w.]*)`", path.read_text(encoding="utf-8")
        )
    ]
    assert len(named) > 30, "the search finds them"
    wrong = [stop for stop in named if not defines((ROOT / stop[1]).read_text(encoding="utf-8"), stop[2])]
    assert wrong == []


def test_every_module_that_a_document_names_by_dots_is_there() -> None:
    """`logger.room.file`, `logger.room.file.function`, or `python -m …`."""
    missing = []
    for path in DOCUMENTS:
        for dotted in re.findall(
            r"\b((?:hardware|logger|web)(?:\.[a-z_]+)+)\b", path.read_text(encoding="utf-8")
        ):
            *room, last = dotted.split(".")
            module, inside = ROOT.joinpath(*room, last), ROOT.joinpath(*room).with_suffix(".py")
            if module.is_dir() or module.with_suffix(".py").exists():
                continue
            if not inside.exists() or not defines(inside.read_text(encoding="utf-8"), last):
                missing.append((path.name, dotted))
    assert missing == []


def test_each_walk_has_at_most_ten_stops() -> None:
    """One reading, one alarm, one plan."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    walks = re.findall(
        r"^## One (reading|alarm|plan), from.*?\n(.*?)(?=^## )", text, re.MULTILINE | re.DOTALL
    )
    assert [name for name, _ in walks] == ["reading", "alarm", "plan"]
    assert all(5 < len(re.findall(r"^\d+\. ", body, re.MULTILINE)) <= 10 for _, body in walks)
