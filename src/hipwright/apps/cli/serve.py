"""``hipwright serve``: the workbench in the browser."""

from __future__ import annotations

import logging
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hipwright.adapters.wire.documents import ServingDocument
from hipwright.apps.cli.memory import give_large_pieces_back
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import HipwrightError, KeepingError

if TYPE_CHECKING:
    from hipwright.adapters.tls import Certificate
    from hipwright.wiring import Workspace as OpenedWorkspace

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
USUAL_PORT = 8734
ANY_PORT = 0


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("serve")(serve)


@told_plainly
def serve(
    *,
    port: Annotated[
        int | None, typer.Option(help="Port; by default 8734, or a free one if it is taken.")
    ] = None,
    host: Annotated[
        str, typer.Option(help="Address to listen at; beyond this machine only with TLS.")
    ] = "127.0.0.1",
    tls_cert: Annotated[
        Path | None, typer.Option(help="The practice's certificate (PEM).")
    ] = None,
    tls_key: Annotated[Path | None, typer.Option(help="Its key (PEM).")] = None,
    tls_self_made: Annotated[
        bool, typer.Option("--tls-self-made", help="Use a certificate this machine makes.")
    ] = False,
    lock_after: Annotated[
        int, typer.Option(min=1, max=720, help="Minutes without a request until it locks.")
    ] = 60,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Serve an existing workspace to the browser of this machine."""
    from hipwright.wiring import open_workspace

    certificate = _certificate(host, tls_cert, tls_key, self_made=tls_self_made)
    listening = Listening(
        host=host,
        port=port,
        certificate=certificate,
        lock_after=timedelta(minutes=lock_after),
        browser=browser,
        json=json,
    )
    with open_workspace(workspace) as opened:
        run(opened, listening)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """Where and how to serve."""

    host: str = "127.0.0.1"
    port: int | None = None
    certificate: Certificate | None = None
    lock_after: timedelta = timedelta(minutes=60)
    browser: bool = True
    json: bool = False


def run(opened: OpenedWorkspace, listening: Listening) -> None:
    """Serve until interrupted."""
    import uvicorn

    from hipwright.apps.web.server import create_app
    from hipwright.apps.web.settings import WebSettings
    from hipwright.wiring import SystemClock

    logging.basicConfig(level=logging.WARNING, format="%(message)s", stream=sys.stderr)
    give_large_pieces_back()
    listener = _listen(listening.host, listening.port)
    certificate = listening.certificate
    settings = WebSettings(
        port=listener.getsockname()[1],
        folder=opened.folder / "web",
        secure=certificate is not None,
        names=LOOPBACK if certificate is None else LOOPBACK | certificate.names,
        lock_after=listening.lock_after,
    )
    app = create_app(opened, settings, clock=SystemClock(), announce=_announce)
    web = app.state.web
    shown = _shown_host(listening.host, certificate)
    link = web.start_address(web.links.make(), shown)
    _announce(f"hipwright serves {opened.folder}")
    _announce(f"Open this link; it works once, within 15 minutes:\n\n  {link}\n")
    if certificate is not None:
        _announce(f"Certificate fingerprint (SHA-256): {certificate.fingerprint}")
    _announce("Stop with Ctrl+C.")
    if listening.json:
        fingerprint = None if certificate is None else certificate.fingerprint
        print_document(ServingDocument(start_link=link, certificate_sha256=fingerprint))
        sys.stdout.flush()
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        ssl_certfile=None if certificate is None else str(certificate.certificate),
        ssl_keyfile=None if certificate is None else str(certificate.key),
        ws_max_size=4_000_000,
        timeout_graceful_shutdown=3,
    )
    if listening.browser:
        threading.Timer(0.2, webbrowser.open, [link]).start()
    with listener:
        uvicorn.Server(config).run(sockets=[listener])


def _announce(line: str) -> None:
    typer.echo(line, err=True)


def _shown_host(host: str, certificate: Certificate | None) -> str:
    if host in LOOPBACK or certificate is None:
        return "127.0.0.1" if host == "localhost" else host
    good = sorted(name for name in certificate.names - LOOPBACK if not name.startswith("*"))
    return host if host in certificate.names or not good else good[0]


def _listen(host: str, port: int | None) -> socket.socket:
    """A listening socket; the port is settled before the address is printed."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    reason = ""
    for wanted in (port,) if port is not None else (USUAL_PORT, ANY_PORT):
        # Told that it is TCP, or asyncio leaves small answers waiting 40 ms for company.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        if sys.platform != "win32":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, wanted))
            listener.listen(128)
        except OSError as error:
            listener.close()
            reason = error.strerror or type(error).__name__
        else:
            return listener
    raise KeepingError(
        "cannot serve",
        found=f"{host} port {port or USUAL_PORT}: {reason}",
        needed="an address of this machine with a free port",
        next_step="Name another --port, or check --host.",
        field="port",
    )


def _certificate(
    host: str, cert: Path | None, key: Path | None, *, self_made: bool
) -> Certificate | None:
    from hipwright.wiring import SystemClock, places

    if cert is None and key is None and not self_made:
        if host in LOOPBACK:
            return None
        raise _bare(host)
    from hipwright.adapters.tls import own_certificate, read_certificate
    from hipwright.adapters.tls.certificates import machine_names

    now = SystemClock().now()
    if cert is not None and key is not None:
        return read_certificate(cert, key, now=now)
    if self_made and cert is None and key is None:
        hosts = machine_names() | ({host} if host not in {"0.0.0.0", "::"} else set())  # noqa: S104 - compared, not bound
        return own_certificate(places().config / "tls", hosts, now=now)
    raise HipwrightError(
        "cannot use TLS",
        found="only one of certificate and key, or both kinds at once",
        needed="--tls-cert with --tls-key, or --tls-self-made alone",
        next_step="Give both files, or let hipwright make a certificate.",
        field="tls",
    )


def _bare(host: str) -> HipwrightError:
    return HipwrightError(
        "cannot listen beyond this machine without TLS",
        found=f"--host {host} and no certificate",
        needed="the practice's certificate, or one that hipwright makes",
        next_step="Add --tls-cert FILE --tls-key FILE, or --tls-self-made; "
        "or leave --host out to serve this machine only.",
        field="host",
    )
