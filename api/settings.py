"""Settings of the service: one typed class, read once."""

from pydantic import SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """
    Read from the environment: PINLEDGER_DB, PINLEDGER_SEED, PINLEDGER_SECURE_COOKIE, and the PINLEDGER_OPENID_ ones.

    `openid_issuer`, `openid_client` and `openid_secret` name an OpenID Connect provider; `openid_name` is what its
    button says. `openid_address` is where browsers reach this service.
    """

    model_config = SettingsConfigDict(env_prefix="PINLEDGER_", frozen=True)

    db: str = "pinledger.db"
    seed: int = 1
    secure_cookie: bool = True
    openid_name: str = ""
    openid_issuer: str = ""
    openid_client: str = ""
    openid_secret: SecretStr = SecretStr("")
    openid_address: str = ""
