"""``hipwright backup``, ``restore`` and ``doctor``: looking after the workspace."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import IdentityError

if TYPE_CHECKING:
    from hipwright.workflows.keep_workspace import BackupReport, Check, RestoreReport

PASSPHRASE = "HIPWRIGHT_BACKUP_PASSPHRASE"  # noqa: S105 - the variable's name
_COLORS = {"ok": "green", "note": "cyan", "problem": "red"}


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)
    app.command("doctor")(doctor)


@told_plainly
def backup(
    file: Annotated[Path, typer.Argument(help="A new file to write.")],
    *,
    with_key: Annotated[
        bool,
        typer.Option(
            "--with-key",
            help="Put the identity key in, under a passphrase: asked for, or from "
            f"{PASSPHRASE}. Without it names cannot be read on another machine.",
        ),
    ] = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Write the whole workspace into one file, also while it is served."""
    from hipwright.adapters.wire.keeping_documents import backup_document
    from hipwright.apps.cli.progress import progress_on_stderr
    from hipwright.wiring import back_up, open_workspace

    passphrase = _new_passphrase() if with_key else None
    with open_workspace(workspace) as opened, progress_on_stderr() as progress:
        report = back_up(opened, file, passphrase=passphrase, progress=progress)
    if json:
        print_document(backup_document(file.name, report))
    else:
        typer.echo(f"{file}: {report.files} image files, {report.size_bytes / 1e6:.1f} MB.")
    _warn_of_backup(report)
    if report.damaged:
        raise typer.Exit(1)


@told_plainly
def restore(
    file: Annotated[Path, typer.Argument(help="A file that `hipwright backup` wrote.")],
    *,
    without_key: Annotated[
        bool,
        typer.Option("--without-key", help="Leave the identity key out: names stay sealed."),
    ] = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Bring a backup back into a new or empty folder; everything is checked first."""
    from hipwright import wiring
    from hipwright.adapters.wire.keeping_documents import restore_document
    from hipwright.apps.cli.progress import progress_on_stderr

    where = wiring.places(workspace)
    with progress_on_stderr() as progress:
        report = wiring.restore(
            file,
            where,
            ask_passphrase=lambda: None if without_key else _known_passphrase(),
            progress=progress,
        )
    if json:
        print_document(restore_document(str(where.workspace), report))
    else:
        made = f"made {report.made_at[:16].replace('T', ' ')} UTC by {report.software}"
        typer.echo(f"{where.workspace}: restored, {report.files} image files, {made}.")
    _warn_of_restore(report)


@told_plainly
def doctor(
    *,
    quick: Annotated[
        bool, typer.Option("--quick", help="Do not read every stored file, only look for it.")
    ] = False,
    repair: Annotated[
        bool, typer.Option("--repair", help="Remove files that no image refers to.")
    ] = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Check the installation, the workspace and its integrity."""
    from hipwright import wiring
    from hipwright.adapters.wire.keeping_documents import doctor_document
    from hipwright.apps.cli.progress import progress_on_stderr
    from hipwright.workflows.keep_workspace import is_sound

    where = wiring.places(workspace)
    collected = 0
    if repair:
        with wiring.open_workspace(workspace) as opened:
            collected = wiring.collect_orphans(opened)
    with progress_on_stderr() as progress:
        checks = wiring.check_up(where, quick=quick, progress=progress)
    if json:
        print_document(doctor_document(checks, collected=collected))
    else:
        _print_checks(checks, collected)
    if not is_sound(checks):
        raise typer.Exit(1)


def _print_checks(checks: list[Check], collected: int) -> None:
    from rich.console import Console
    from rich.markup import escape

    console = Console()
    for check in checks:
        color = _COLORS[check.state.value]
        state = f"[{color}]{check.state.value:>7}[/{color}]"
        console.print(f"{state}  {escape(check.about)}: {escape(check.told)}", soft_wrap=True)
        if check.next_step:
            console.print(f"         {escape(check.next_step)}", soft_wrap=True)
    if collected:
        console.print(f"Removed {collected} files that no image referred to.")


def _warn_of_backup(report: BackupReport) -> None:
    if report.damaged:
        _warn(
            f"{report.damaged} image files are missing or damaged and are not in the backup. "
            "Run `hipwright doctor`."
        )
    if report.with_identity and not report.with_key:
        _warn(
            "This backup holds names, numbers and dates sealed, but NOT the key that opens them. "
            "On another machine, or if this one is lost, nobody can read them. Make it again "
            "with --with-key, or keep a copy of the identity key elsewhere."
        )


def _warn_of_restore(report: RestoreReport) -> None:
    if report.damaged:
        _warn(f"{report.damaged} image files were damaged already when the backup was made.")
    if report.with_identity and not report.key_is_here:
        how = (
            "Restore again without --without-key"
            if report.key_came_along
            else "Bring the key file from the machine that made the backup"
        )
        _warn(
            f"The key {report.key_id} is not on this machine: names, numbers and true dates "
            f"cannot be read. {how}."
        )


def _warn(text: str) -> None:
    typer.secho(text, err=True, fg=typer.colors.YELLOW)


def _new_passphrase() -> str:
    given = os.environ.get(PASSPHRASE)
    if given is not None:
        return given
    _refuse_without_terminal()
    return typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)


def _known_passphrase() -> str:
    given = os.environ.get(PASSPHRASE)
    if given is not None:
        return given
    _refuse_without_terminal()
    return typer.prompt("Passphrase of the backup", hide_input=True, err=True)


def _refuse_without_terminal() -> None:
    if not sys.stdin.isatty():
        raise IdentityError(
            "cannot ask for the passphrase",
            found="no terminal",
            needed=f"a terminal, or the passphrase in {PASSPHRASE}",
            next_step=f"Set {PASSPHRASE} for this one command, or leave the key out.",
            field="passphrase",
        )
