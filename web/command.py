"""The `pourlog` command: predict, replay, station, serve, demo and the rest. A composition root.

Exit codes: 0 done; 2 the input was refused (message on standard error, nothing stored); 1 anything else.
"""

from __future__ import annotations

import json
import logging
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table

from hardware.clock import SystemClock
from logger.cure.prediction import Prediction, predict
from logger.errors import BadInput, LoggerError
from logger.plan_file import read_plan
from logger.settings import Settings, read_settings
from web.pages.words import celsius, hours_minutes
from web.serve import serve
from web.service import Service

app = typer.Typer(
    name="pourlog",
    help="Plans, watches, forecasts and records thick epoxy pours.",
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)
console = Console()

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")]
PlanPath = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (TOML).")]


def print_json(value: Any) -> None:
    """One JSON object on standard output; NaN is a mistake, not a value."""
    print(json.dumps(value, ensure_ascii=False, allow_nan=False))


@app.command("predict")
def predict_command(plan: PlanPath, as_json: Json = False) -> None:
    """Solve a plan's cure: how hot its middle gets and when, when it gels, how far it cures.

    Example: `pourlog predict plan.toml`
    """
    planned = read_plan(plan)
    with console.status("solving the cross-section …") if not as_json else _silence():
        prediction = predict(planned)
    if as_json:
        print_json(prediction.to_json())
        return
    _show_prediction(planned.title, prediction, planned.resin.limits.max_core_c)


@app.command("serve")
def serve_command(
    settings: Annotated[
        Path | None, typer.Argument(metavar="[SETTINGS]", help="The settings file (TOML).")
    ] = None,
) -> None:
    """Run the service: pages, alarms, messages, records.

    Example: `pourlog serve settings.toml`. Without a file it listens on this machine only, port 8080.
    """
    service = Service.open(read_settings(settings) if settings else Settings(), SystemClock())
    code = service.new_setup_code()
    if code is not None:
        console.print(
            f"First set-up: open {service.settings.link_base}/set-up and give the code [bold]{code}[/bold] "
            "(it holds for an hour)."
        )
    else:
        console.print(f"The board is at {service.settings.link_base}/")
    sys.exit(serve(service))


def _show_prediction(title: str, prediction: Prediction, limit_c: float) -> None:
    shown = prediction.to_json()
    table = Table(title=title, show_header=False, title_justify="left")
    table.add_row("hottest point", celsius(shown["peak_c"]))
    table.add_row("  when", f"{hours_minutes(shown['peak_at_h'])} after pouring")
    hottest = shown["hottest"]
    table.add_row(
        "  where", f"{hottest['x_mm']:.0f} mm from the centre line, {hottest['z_mm']:.0f} mm above the bottom"
    )
    table.add_row("resin's limit", celsius(limit_c))
    table.add_row("gel, about", hours_minutes(shown["gel_at_h"]))
    table.add_row(
        "cured at the end",
        f"{100 * shown['end']['mean_conversion']:.0f} % (least {100 * shown['end']['least_conversion']:.0f} %)",
    )
    table.add_row("glass transition then", celsius(shown["end"]["tg_c"], 0))
    console.print(table)
    for warning in prediction.warnings:
        console.print(f"[bold]Mind:[/bold] {warning}")
    if shown["peak_c"] > limit_c:
        console.print(
            f"[bold]It passes the resin's limit of {celsius(limit_c)}.[/bold] Pour less deep, in a cooler room, "
            "or with moving air; the maker's safety data sheet rules."
        )


class _silence:
    def __enter__(self) -> None: ...

    def __exit__(self, *_: object) -> None: ...


def main() -> None:
    """Runs the command; turns the domain's errors into one clear line and an exit code."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    try:
        app(standalone_mode=True)
    except BadInput as error:
        print(f"pourlog: {error}", file=sys.stderr)
        sys.exit(2)
    except LoggerError as error:
        print(f"pourlog: {error}", file=sys.stderr)
        sys.exit(1)


if __name__ == "__main__":
    main()
