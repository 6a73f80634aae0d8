"""What ``bootstrap.py`` can be asked to do."""

from collections.abc import Callable

from bench import check, install, locks
from bench.console import prepare_output, say


def demo(arguments: list[str]) -> int:
    """Install what is missing and open the demonstration."""
    install.environment()
    say("Starting the demonstration. Ctrl+C ends it.")
    return install.run_hipwright("demo", *arguments)


def set_up(arguments: list[str]) -> int:
    """Install only."""
    install.environment(dev="--dev" in arguments)
    say(f"hipwright is installed. To start it: {install.program('hipwright')} demo")
    return 0


def pages(_: list[str]) -> int:
    """Write the documents that are made from the program."""
    install.environment(dev=True)
    return install.run_python("-m", "bench.generated_pages", "--write")


def lock(arguments: list[str]) -> int:
    """Write the lock files again."""
    install.environment(dev=True)
    return locks.write(upgrade="--upgrade" in arguments)


ORDERS: dict[str, Callable[[list[str]], int]] = {
    "demo": demo,
    "install": set_up,
    "check": check.run,
    "pages": pages,
    "lock": lock,
}


def carry_out(arguments: list[str], *, help_text: str) -> int:
    """Carry out what the command line asks for; the exit code is returned."""
    prepare_output()
    name, *rest = arguments or ["demo"]
    if name not in ORDERS:
        asked_for_help = name in {"help", "-h", "--help"}
        say(help_text.strip() if asked_for_help else f"No order {name!r}.\n\n{help_text.strip()}")
        return 0 if asked_for_help else 2
    try:
        return ORDERS[name](rest)
    except install.SetupError as problem:
        say(f"\n{problem}")
        return 1
    except KeyboardInterrupt:
        say("\nStopped.")
        return 130
