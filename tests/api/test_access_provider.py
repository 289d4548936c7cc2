"""
Sign in by OpenID Connect, against a provider that runs in a process of its own and signs real tokens.

The provider is the library `oidc-provider-mock`; its page asks for a subject and sends the browser back with a code.
"""

import json
import re
import socket
import subprocess
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import ClassVar
from urllib.parse import parse_qs, urlsplit

import httpx
import pyotp
import pytest
from joserfc import jwk, jwt
from pydantic import ValidationError

from api import openid
from api.settings import Settings
from db import authenticators
from db.errors import LedgerError
from db.outside import Begun
from db.session import Session
from tests.api.entrance import browser, link_for, make_entrance, now, send

BEGUN = Begun("verifier", "nonce", None)


@pytest.fixture(scope="module")
def issuer():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    words = [sys.executable, "-m", "oidc_provider_mock", "--port", str(port), "--require-nonce", "true"]
    quiet = subprocess.DEVNULL
    with subprocess.Popen(words, stdout=quiet, stderr=quiet) as provider:
        address = f"http://127.0.0.1:{port}"
        for _ in range(300):
            try:
                address = httpx.get(f"{address}/.well-known/openid-configuration").json()["issuer"]
                break
            except httpx.HTTPError:
                time.sleep(0.1)
        else:
            pytest.fail("the provider did not start")
        yield address
        provider.terminate()


def provided(issuer, **more):
    given = {
        "openid_name": "Works sign-in",
        "openid_issuer": issuer,
        "openid_client": "pinledger",
        "openid_secret": "a secret of the client",
        "openid_address": "http://testserver",
    }
    return given | more


@pytest.fixture
def app(sqlite_url, issuer):
    return make_entrance(sqlite_url, **provided(issuer))


def go(client):
    """Begin, and follow the link that the page shows."""
    page = send(client, "/sign-in/provider", page="/sign-in")
    assert page.status_code == 200, page.text
    return re.search(r'class="button" href="([^"]+)"', page.text).group(1).replace("&amp;", "&")


def prove(address, subject):
    """What the person does at the provider: say who they are; the provider answers with the way back."""
    answer = httpx.post(address, data={"sub": subject})
    assert answer.status_code == 302, answer.text
    return answer.headers["location"]


def connected(app, subject="works-4711", name="cle"):
    client = browser(app)
    client.get(link_for(app, name))
    answer = client.get(prove(go(client), subject))
    assert "Connected" in answer.text
    return client


def test_a_connected_identity_comes_in(app):
    connected(app)
    client = browser(app)
    answer = client.get(prove(go(client), "works-4711"))
    assert answer.status_code == 200
    assert 'http-equiv="refresh" content="0;url=/"' in answer.text
    page = client.get("/account").text
    assert "cle, clerk" in page
    assert "provider" in page


def test_the_request_carries_state_nonce_proof_key_and_asks_for_no_more_than_who(app):
    asked = parse_qs(urlsplit(go(browser(app))).query)
    assert asked["scope"] == ["openid"]
    assert asked["response_type"] == ["code"]
    assert asked["code_challenge_method"] == ["S256"]
    assert all(len(asked[name][0]) >= 43 for name in ("state", "nonce", "code_challenge"))


def test_an_identity_connected_with_nobody_stays_outside(app):
    client = browser(app)
    answer = client.get(prove(go(client), "stranger"))
    assert answer.status_code == 403
    assert client.get("/account").status_code == 401


def test_one_identity_is_one_person(app):
    connected(app)
    client = browser(app)
    client.get(link_for(app, "ann"))
    answer = client.get(prove(go(client), "works-4711"))
    assert answer.status_code == 409
    assert "connected with" in answer.text


def test_an_answer_works_once_and_in_the_browser_that_began_alone(app):
    connected(app)
    client, other = browser(app), browser(app)
    back = prove(go(client), "works-4711")
    assert other.get(back).status_code == 400
    go(other)
    assert other.get(back).status_code == 400, "the state of another browser"
    begun = client.cookies["pinledger-begun"]
    assert client.get(back).status_code == 200
    again = browser(app, cookies={"pinledger-begun": begun}).get(back)
    assert again.status_code == 409
    assert "not begun here" in again.text


def test_a_person_with_an_authenticator_is_asked_for_the_code_too(app):
    connected(app)
    with Session(app.state.engine) as session:
        code = pyotp.TOTP(authenticators.begin_authenticator(session, "cle", now=now()))
        session.get(authenticators.PersonAuthenticator, "cle").confirmed = True
        session.commit()
    client = browser(app)
    onward = client.get(prove(go(client), "works-4711")).text
    assert client.get("/account").status_code == 401
    link = re.search(r"/enter/[\w-]+", onward).group(0)
    assert client.post(link, data={"code": code.now()}).status_code == 303
    assert client.get("/account").status_code == 200


def test_ended_access_is_ended_there_too(app):
    connected(app)
    with app.state.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE person SET ended_at = '2026-01-01' WHERE name = 'cle'")
    client = browser(app)
    assert client.get(prove(go(client), "works-4711")).status_code == 403


def test_without_a_provider_there_is_no_such_way(sqlite_url):
    client = browser(make_entrance(sqlite_url))
    assert "provider" not in client.get("/sign-in").text
    assert send(client, "/sign-in/provider", page="/sign-in").status_code == 404


KEY = jwk.RSAKey.generate_key(2048, {"kid": "one", "use": "sig"})
FORGED = jwk.RSAKey.generate_key(2048, {"kid": "one", "use": "sig"})
SHARED = jwk.OctKey.import_key("a secret of the client")


class Liar(BaseHTTPRequestHandler):
    """A provider that hands out whatever the test prepared: what it says of itself, and a token."""

    prepared: ClassVar[dict] = {}

    def do_GET(self):
        self.answer(self.prepared["keys" if self.path == "/keys" else "described"])

    def do_POST(self):
        self.answer({"access_token": "x", "token_type": "Bearer", "id_token": self.prepared["token"]})

    def answer(self, told):
        body = json.dumps(told).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args):
        """Say nothing."""


@pytest.fixture(scope="module")
def liar():
    with ThreadingHTTPServer(("127.0.0.1", 0), Liar) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.fixture
def answering(liar):
    """The identity that we take from a provider that says this of itself and gives a token of these claims."""

    def answer(key=KEY, alg="RS256", raw=None, described=(), **claims):
        second = int(time.time())
        told = {
            "iss": liar,
            "aud": "pinledger",
            "sub": "s",
            "nonce": "nonce",
            "iat": second,
            "exp": second + 300,
        }
        told = {name: value for name, value in {**told, **claims}.items() if value is not None}
        signed = jwt.encode({"alg": alg, "kid": "one"}, told, key, algorithms=[alg]) if raw is None else raw
        itself = {"issuer": liar, "token_endpoint": f"{liar}/token", "jwks_uri": f"{liar}/keys"}
        Liar.prepared = {
            "described": itself | dict(described),
            "keys": {"keys": [KEY.as_dict(private=False)]},
            "token": signed,
        }
        return openid.identity_from(Settings(**provided(liar)), "code", BEGUN)

    return answer


def test_a_good_token_names_the_subject(answering, liar):
    assert answering() == openid.Identity(liar, "s")


@pytest.mark.parametrize(
    ("key", "alg", "claims"),
    [
        (FORGED, "RS256", {}),
        (SHARED, "HS256", {}),
        (KEY, "RS256", {"iss": "https://other.example"}),
        (KEY, "RS256", {"aud": "another client"}),
        (KEY, "RS256", {"nonce": "another sign-in"}),
        (KEY, "RS256", {"nonce": None}),
        (KEY, "RS256", {"sub": None}),
        (KEY, "RS256", {"exp": 1}),
        (KEY, "RS256", {"exp": None}),
        (KEY, "RS256", {"iat": int(time.time()) + 3600}),
    ],
)
def test_a_token_of_another_key_place_time_or_sign_in_is_not_believed(answering, key, alg, claims):
    with pytest.raises(LedgerError, match="not accepted"):
        answering(key, alg, **claims)


@pytest.mark.parametrize("bad", ["", "x.y.z", "eyJhbGciOiJub25lIn0.eyJzdWIiOiJzIn0."])
def test_a_token_without_a_signature_is_not_believed(answering, bad):
    with pytest.raises(LedgerError, match="not accepted"):
        answering(raw=bad)


def test_a_provider_that_calls_itself_otherwise_is_refused(answering):
    with pytest.raises(LedgerError, match="calls itself otherwise"):
        answering(described={"issuer": "https://id.example/"})


def test_an_endpoint_in_the_clear_is_refused(answering):
    with pytest.raises(LedgerError, match="not reached by https"):
        answering(described={"token_endpoint": "http://id.example/token"})


def test_a_provider_that_is_away_is_said_to_be_away(sqlite_url):
    client = browser(make_entrance(sqlite_url, **provided("http://127.0.0.1:9")))
    answer = send(client, "/sign-in/provider", page="/sign-in")
    assert answer.status_code == 409
    assert "cannot be reached" in answer.text


@pytest.mark.parametrize(
    "more", [{"openid_client": ""}, {"openid_issuer": "http://id.example"}, {"openid_secret": ""}]
)
def test_half_a_provider_or_one_in_the_clear_stops_the_start(more):
    with pytest.raises(ValidationError):
        Settings(**provided("https://id.example", **more))
