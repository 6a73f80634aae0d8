"""Run the steps of the check, one after the other, and say at the end how all of them went."""

import os
import subprocess
import time
from dataclasses import dataclass

from bench import install, machine
from bench.console import say, seconds
from bench.place import KEPT, ROOT
from bench.steps import STEPS, Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How one step went."""

    name: str
    passed: bool
    duration_s: float

    @property
    def word(self) -> str:
        """The outcome in one word."""
        return "passed" if self.passed else "FAILED"


def run(names: list[str]) -> int:
    """Install the tools, run the named steps (all of them if none is named), print one summary.

    A failed step does not keep the later ones from running: one run tells everything.
    """
    unknown = [name for name in names if name not in STEPS]
    if unknown:
        say(f"There is no step {', '.join(unknown)}. The steps are: {' '.join(STEPS)}.")
        return 2
    start = time.monotonic()
    install.environment(dev=True)
    chosen = names or list(STEPS)
    if {"tests", "browser"} & set(chosen):
        machine.bring_tools()
    KEPT.mkdir(exist_ok=True)
    prepared_s = time.monotonic() - start
    outcomes = [run_step(name, STEPS[name]) for name in chosen]
    return summarize(outcomes, prepared_s)


def run_step(name: str, step: Step) -> Outcome:
    """Run all commands of a step."""
    say(f"\n=== {name} {'=' * max(3, 72 - len(name))}")
    start = time.monotonic()
    environment = os.environ | step.environment
    codes = [
        subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode
        for command in step.commands()
    ]
    outcome = Outcome(name=name, passed=not any(codes), duration_s=time.monotonic() - start)
    say(f"--- {name}: {outcome.word} after {seconds(outcome.duration_s)}")
    return outcome


def summarize(outcomes: list[Outcome], prepared_s: float) -> int:
    """Print the closing summary; return the exit code."""
    total_s = prepared_s + sum(outcome.duration_s for outcome in outcomes)
    failed = [outcome.name for outcome in outcomes if not outcome.passed]
    say(f"\n=== summary {'=' * 65}")
    say(f"  {'install':<14}{'':<8}{seconds(prepared_s):>14}")
    for outcome in outcomes:
        say(f"  {outcome.name:<14}{outcome.word:<8}{seconds(outcome.duration_s):>14}")
    say(f"  {'total':<14}{'':<8}{seconds(total_s):>14}")
    if failed:
        say(f"\nTo run only what failed: python3 bootstrap.py check {' '.join(failed)}")
    say(f"steps: {len(outcomes) - len(failed)} passed, {len(failed)} failed")
    return 1 if failed else 0
