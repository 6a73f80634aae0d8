"""`hipwright serve` as a person starts it: the link, the refusals, TLS."""

import json
import re
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from hipwright.adapters.tls import own_certificate
from hipwright.wiring import SystemClock, open_workspace

PATIENCE_S = 30.0
LINK = re.compile(r"(https?://\S+/start/\S+)")


def hipwright(*words: object) -> list[str]:
    start = "from hipwright.apps.cli.main import app; app()"
    return [sys.executable, "-c", start, *map(str, words)]


@pytest.fixture(scope="module")
def workspace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("served") / "workspace"
    open_workspace(folder, create=True).close()
    return folder


@contextmanager
def serving(workspace: Path, *words: object) -> Iterator[str]:
    """Start the command, wait for its link, stop it in the end."""
    command = hipwright("serve", "--no-browser", "--port", 0, "--workspace", workspace, *words)
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        try:
            said = ""
            while (found := LINK.search(said)) is None:
                line = process.stderr.readline()
                assert line, said
                said += line
            yield found.group(1)
        finally:
            process.terminate()
            process.wait(timeout=PATIENCE_S)


def refused(*words: object) -> str:
    done = subprocess.run(
        hipwright("serve", "--no-browser", *words),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert done.returncode == 1
    return done.stderr


def get(link: str, **options: object) -> httpx.Response:
    """Follow a link as soon as somebody answers."""
    end = time.monotonic() + PATIENCE_S
    with httpx.Client(follow_redirects=True, **options) as client:  # pyright: ignore[reportArgumentType] - options of one kind each
        while True:
            try:
                return client.get(link)
            except httpx.ConnectError:
                assert time.monotonic() < end
                time.sleep(0.05)


def test_the_printed_link_opens_the_cases_on_this_machine_only(workspace: Path) -> None:
    with serving(workspace) as link:
        assert link.startswith("http://127.0.0.1:")
        answer = get(link)
        assert answer.status_code == 200
        assert "No cases yet" in answer.text


def test_the_link_comes_as_a_document_that_other_programs_can_read(workspace: Path) -> None:
    words = ("serve", "--no-browser", "--port", 0, "--workspace", workspace, "--json")
    with subprocess.Popen(
        hipwright(*words), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdout is not None
        lines: list[str] = []
        while not lines or lines[-1] != "}\n":
            line = process.stdout.readline()
            assert line, lines
            lines.append(line)
        told = json.loads("".join(lines))
        try:
            assert told["format"] == "hipwright.serving"
            assert get(told["start_link"]).status_code == 200
        finally:
            process.terminate()
            process.wait(timeout=PATIENCE_S)


def test_beyond_this_machine_it_is_refused_without_tls(workspace: Path) -> None:
    said = refused("--host", "0.0.0.0", "--workspace", workspace)  # noqa: S104 - refused
    assert "without TLS" in said
    assert "--tls-self-made" in said


def test_half_a_certificate_is_refused(workspace: Path, tmp_path: Path) -> None:
    said = refused("--tls-cert", tmp_path / "x.pem", "--workspace", workspace)
    assert "--tls-cert with --tls-key" in said


def test_a_workspace_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    said = refused("--workspace", tmp_path / "absent")
    assert "no workspace" in said
    assert not (tmp_path / "absent").exists()


def test_a_port_that_is_taken_is_told(workspace: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = refused("--port", port, "--workspace", workspace)
    assert f"port {port}" in said


def test_under_tls_the_cookie_is_secure_and_the_names_are_the_certificates(
    workspace: Path, tmp_path: Path
) -> None:
    made = own_certificate(tmp_path / "tls", {"localhost", "127.0.0.1"}, now=SystemClock().now())
    trusted = ssl.create_default_context(cafile=str(made.certificate))
    words = ("--tls-cert", made.certificate, "--tls-key", made.key)
    with serving(workspace, *words) as link:
        assert link.startswith("https://127.0.0.1:")
        answer = get(link, verify=trusted)
        assert answer.status_code == 200
        cookie = answer.history[0].headers["set-cookie"].lower()
        assert cookie.startswith("__host-")
        assert "secure" in cookie
        assert answer.headers["strict-transport-security"]
        bad = httpx.get(link, verify=trusted, headers={"Host": "attacker.example"})
        assert bad.status_code == 421


def test_small_answers_leave_at_once() -> None:
    # asyncio turns the waiting for company off only for sockets that say they are TCP.
    from hipwright.apps.cli.serve import _listen

    with _listen("127.0.0.1", 0) as listener:
        assert listener.proto == socket.IPPROTO_TCP
