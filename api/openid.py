"""OpenID Connect, an extra: the code flow with proof key, and an ID token checked before it is believed."""

from dataclasses import dataclass
from typing import Any, Final

import httpx
from authlib.common.errors import AuthlibBaseError
from authlib.integrations.httpx_client import OAuth2Client
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet

from api.settings import Settings
from db.errors import LedgerError
from db.outside import Begun

# Signatures by a key of the provider alone: none at all, or one by our own secret, is refused.
ALGORITHMS: Final = ("RS256", "PS256", "ES256", "EdDSA")
SECONDS: Final = 5.0
CLOCKS_APART_SECONDS: Final = 60
BACK: Final = "/sign-in/provider/back"


@dataclass(frozen=True)
class Identity:
    """Who somebody is: the provider's subject is its own for ever, a name or an address is not."""

    issuer: str
    subject: str


def address_to_ask(settings: Settings, state: str, begun: Begun) -> str:
    """Where the browser is sent to sign in."""
    with _client(settings) as client:
        address, _ = client.create_authorization_url(
            _endpoint(_described(settings), "authorization_endpoint"),
            state=state,
            nonce=begun.nonce,
            code_verifier=begun.verifier,
        )
    return str(address)


def identity_from(settings: Settings, code: str, begun: Begun) -> Identity:
    """Exchange the code, and check the ID token: signature, issuer, audience, times, and that it is of this sign-in."""
    described = _described(settings)
    try:
        with _client(settings) as client:
            told = client.fetch_token(
                _endpoint(described, "token_endpoint"),
                grant_type="authorization_code",
                code=code,
                code_verifier=begun.verifier,
            )
        keys = KeySet.import_key_set(_fetched(_endpoint(described, "jwks_uri")))
        claims = jwt.decode(str(told.get("id_token", "")), keys, algorithms=ALGORITHMS).claims
        _wanted(settings, begun).validate(claims)
    except (AuthlibBaseError, JoseError, httpx.HTTPError, ValueError) as error:
        raise LedgerError(
            f"the provider's answer is not accepted ({type(error).__name__}); begin again"
        ) from error
    return Identity(settings.openid_issuer, str(claims["sub"]))


def _wanted(settings: Settings, begun: Begun) -> jwt.JWTClaimsRegistry:
    return jwt.JWTClaimsRegistry(
        leeway=CLOCKS_APART_SECONDS,
        iss={"essential": True, "value": settings.openid_issuer},
        aud={"essential": True, "value": settings.openid_client},
        sub={"essential": True},
        exp={"essential": True},
        iat={"essential": True},
        nonce={"essential": True, "value": begun.nonce},
    )


def _client(settings: Settings) -> OAuth2Client:
    return OAuth2Client(
        settings.openid_client,
        settings.openid_secret.get_secret_value(),
        scope="openid",
        redirect_uri=settings.openid_address.rstrip("/") + BACK,
        code_challenge_method="S256",
        timeout=SECONDS,
        follow_redirects=False,
    )


def _described(settings: Settings) -> dict[str, Any]:
    """What the provider says of itself; refused unless it is the issuer that we were set up for, to the letter."""
    told: dict[str, Any] = _fetched(settings.openid_issuer.rstrip("/") + "/.well-known/openid-configuration")
    if told.get("issuer") != settings.openid_issuer:
        raise LedgerError(
            "the provider calls itself otherwise than PINLEDGER_OPENID_ISSUER; set it as the provider does"
        )
    return told


def _fetched(address: str) -> Any:  # noqa: ANN401 - JSON of another
    try:
        answer = httpx.get(address, timeout=SECONDS, follow_redirects=False)
        answer.raise_for_status()
        return answer.json()
    except (httpx.HTTPError, ValueError) as error:
        raise LedgerError(
            "the provider cannot be reached; try again, or come in by name and password"
        ) from error


def _endpoint(described: dict[str, Any], name: str) -> str:
    address = str(described.get(name, ""))
    if not address.startswith(("https://", "http://127.0.0.1:", "http://localhost:")):
        raise LedgerError(f"the provider's {name} is not reached by https; ask who runs it")
    return address
