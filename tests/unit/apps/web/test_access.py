"""Who may ask: hosts, origins, start links, tokens, locking, sockets."""

import asyncio
from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path

import httpx
import pytest
from fastapi.routing import APIRoute
from hypothesis import given
from hypothesis import strategies as st
from starlette.routing import BaseRoute, WebSocketRoute
from websockets.asyncio.client import connect
from websockets.exceptions import InvalidStatus

from hipwright.apps.web import server
from hipwright.apps.web.access.hosts import is_own_host, is_own_origin
from hipwright.apps.web.access.sessions import Sessions
from tests.web_house import PAGE, WebHouse, open_house

OWN = {"names": frozenset({"127.0.0.1", "localhost", "::1"}), "scheme": "http", "port": 8734}


def routes() -> Iterator[BaseRoute]:
    for router in server.routers():
        yield from below(router.routes)


def below(some: Sequence[BaseRoute]) -> Iterator[BaseRoute]:
    """Routes, those of routers within routers too."""
    for route in some:
        inner = getattr(route, "original_router", None)
        if inner is None:
            yield route
        else:
            yield from below(inner.routes)


def filled(path: str) -> str:
    return path.replace("{", "").replace("}", "")


PLAIN = sorted(
    {
        (method, filled(r.path))
        for r in routes()
        if isinstance(r, APIRoute)
        for method in r.methods or ()
    }
)
SOCKETS = sorted({filled(r.path) for r in routes() if isinstance(r, WebSocketRoute)})
OPEN = {"/locked", "/start/token"}


def test_there_are_routes_to_walk() -> None:
    assert len(PLAIN) > 25
    assert SOCKETS


@pytest.mark.parametrize(("method", "path"), PLAIN)
def test_nothing_is_told_to_somebody_who_is_not_signed_in(
    house: WebHouse, method: str, path: str
) -> None:
    if path in OPEN:
        pytest.skip("open to everybody: it lets people in")
    with house.client(signed_in=False) as client:
        answer = client.request(method, path)
    assert answer.status_code == 401
    assert answer.json()["error"]["code"] == "unauthorized"


@pytest.mark.parametrize(("method", "path"), PLAIN)
def test_every_answer_carries_the_headers(
    house: WebHouse, inside: httpx.Client, method: str, path: str
) -> None:
    if path == "/lock":
        pytest.skip("would sign the client out")
    answer = inside.request(method, path, headers=PAGE)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert answer.status_code < 500


@pytest.mark.parametrize(("method", "path"), [row for row in PLAIN if row[0] != "GET"])
def test_a_change_without_the_token_is_refused(
    house: WebHouse, inside: httpx.Client, method: str, path: str
) -> None:
    if path in OPEN:
        pytest.skip("asked before anybody is signed in")
    del inside.headers["X-CSRF-Token"]
    answer = inside.request(method, path, data={"csrf": "guessed"})
    assert answer.status_code == 403


@pytest.mark.parametrize("method_path", [row for row in PLAIN if row[0] != "GET"])
@pytest.mark.parametrize("origin", ["https://attacker.example", "null", None])
def test_a_change_that_another_page_asks_for_is_refused(
    house: WebHouse, inside: httpx.Client, method_path: tuple[str, str], origin: str | None
) -> None:
    method, path = method_path
    del inside.headers["Origin"]
    headers = {} if origin is None else {"Origin": origin}
    answer = inside.request(method, path, headers=headers | {"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403


def test_a_form_of_our_own_page_is_taken_although_its_origin_is_withheld(
    house: WebHouse, inside: httpx.Client
) -> None:
    token = inside.headers.pop("X-CSRF-Token")
    headers = {"Origin": "null", "Sec-Fetch-Site": "same-origin"}
    answer = inside.post("/names", data={"csrf": token, "shown": "1"}, headers=headers)
    assert answer.status_code == 303


@pytest.mark.parametrize("path", ["/cases", "/locked", "/static/x/css/base.css"])
def test_a_request_under_another_name_is_refused(
    house: WebHouse, inside: httpx.Client, path: str
) -> None:
    port = house.state.settings.port
    for host in ("attacker.example", f"attacker.example:{port}", "127.0.0.1:1", "", "[::1"):
        assert inside.get(path, headers={"Host": host}).status_code in {400, 421}


def test_a_start_link_works_once(house: WebHouse) -> None:
    token = house.state.links.make()
    with house.client(signed_in=False) as first, house.client(signed_in=False) as second:
        assert first.get(f"/start/{token}").status_code == 303
        assert second.get(f"/start/{token}").status_code == 403
        assert second.get("/cases").status_code == 401
        assert first.get("/cases").status_code == 200


def test_a_start_link_is_too_long_to_guess_and_does_not_live_long(house: WebHouse) -> None:
    token = house.state.links.make()
    assert len(token) >= 22  # 128 bits in base64
    house.clock.later = house.state.settings.link_lives + timedelta(seconds=1)
    try:
        assert not house.state.links.use(token)
    finally:
        house.clock.later = timedelta(0)


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(house: WebHouse) -> None:
    with house.client(signed_in=False) as client:
        cookie = client.get(f"/start/{house.state.links.make()}").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


def test_a_session_locks_when_nobody_asks_for_anything(house: WebHouse) -> None:
    with house.client() as client:
        assert client.get("/cases").status_code == 200
        house.clock.later = house.state.settings.lock_after + timedelta(seconds=1)
        try:
            assert client.get("/cases").status_code == 401
        finally:
            house.clock.later = timedelta(0)


def test_asking_how_long_it_lasts_does_not_keep_a_session_awake(house: WebHouse) -> None:
    with house.client() as client:
        client.get("/cases")
        half = house.state.settings.lock_after / 2
        try:
            house.clock.later = half
            left = client.get("/access/left").json()["seconds"]
            assert left == pytest.approx(half.total_seconds(), abs=5)
            house.clock.later = 2 * half + timedelta(seconds=1)
            assert client.get("/access/left").status_code == 401
        finally:
            house.clock.later = timedelta(0)


def test_locking_signs_out(house: WebHouse) -> None:
    with house.client() as client:
        assert client.post("/lock").status_code == 303
        assert client.get("/cases").status_code == 401


def test_who_is_locked_out_gets_a_new_link_only_where_hipwright_was_started(
    house: WebHouse,
) -> None:
    with house.client(signed_in=False) as client:
        page = client.post("/locked", headers=PAGE)
    (line,) = house.said[-1:]
    token = line.rpartition("/start/")[2]
    assert token
    assert token not in page.text
    assert house.state.links.use(token)


def test_sessions_outlive_a_restart_and_hold_no_token(tmp_path: Path) -> None:
    from tests.web_house import MovedClock

    clock = MovedClock()
    kept = {"now": clock.now, "idle": timedelta(hours=1), "longest": timedelta(hours=2)}
    token, session = Sessions(tmp_path / "sessions.json", **kept).open()
    session.search = "a name"
    content = (tmp_path / "sessions.json").read_text("utf-8")
    assert token not in content
    assert "a name" not in content
    again = Sessions(tmp_path / "sessions.json", **kept)
    assert again.find(token) is not None
    assert again.find("another") is None
    clock.later = timedelta(hours=1, seconds=1)
    assert again.find(token) is None


@pytest.mark.parametrize("path", SOCKETS)
@pytest.mark.parametrize("origin", ["own", "https://attacker.example", None])
@pytest.mark.parametrize("signed_in", [True, False])
def test_a_socket_opens_for_our_own_signed_in_page_only(
    house: WebHouse, path: str, origin: str | None, signed_in: bool
) -> None:
    address = house.address.replace("http://", "ws://") + path
    headers = {}
    if origin is not None:
        headers["Origin"] = house.address if origin == "own" else origin
    if signed_in:
        with house.client() as client:
            name = house.state.settings.cookie
            headers["Cookie"] = f"{name}={client.cookies[name]}"
    allowed = signed_in and origin == "own"

    async def knock() -> int:
        try:
            async with connect(address, additional_headers=headers):
                return 101
        except InvalidStatus as refused:
            return refused.response.status_code

    status = asyncio.run(knock())
    if not allowed:
        assert status == 403
        # The route itself refuses an image that is not there with the same status, so the
        # guard's answer is told apart by what an allowed knock reaches: see the films' tests.


@given(st.text(alphabet="abc.:-_@/[]01289%", max_size=30))
def test_no_other_text_passes_as_our_host(text: str) -> None:
    good = {f"{name}:8734" for name in ("127.0.0.1", "localhost", "[::1]", "localhost.")}
    if text not in good:
        assert not is_own_host(text, **OWN)


@pytest.mark.parametrize(
    ("origin", "own"),
    [
        ("http://127.0.0.1:8734", True),
        ("http://localhost:8734", True),
        ("http://[::1]:8734", True),
        ("https://127.0.0.1:8734", False),
        ("http://127.0.0.1:8734.attacker.example", False),
        ("http://127.0.0.1:8735", False),
        ("http://user@127.0.0.1:8734", False),
        ("null", False),
        ("", False),
    ],
)
def test_an_origin_is_ours_only_by_scheme_host_and_port(origin: str, own: bool) -> None:
    assert is_own_origin(origin, **OWN) is own


def test_a_wildcard_of_a_certificate_stands_for_one_label() -> None:
    own = {"names": {"*.practice.example"}, "scheme": "https", "port": 443}
    assert is_own_host("hips.practice.example", **own)
    assert not is_own_host("a.b.practice.example", **own)
    assert not is_own_host("practice.example", **own)


def test_what_is_left_of_an_import_is_told_after_a_restart(tmp_path: Path) -> None:
    with open_house(tmp_path) as first:
        name = first.state.arrivals.begin("").id
        place = first.state.folder / "arriving" / name / "files"
        (place / "somebody.dcm").write_bytes(b"identity")
    from hipwright.apps.web.arriving import ArrivalTable, Stage

    again = ArrivalTable(tmp_path / "workspace" / "web" / "arriving", first.clock)
    left = again.find(name)
    assert left is not None
    assert left.stage is Stage.INTERRUPTED
    assert not place.exists()
