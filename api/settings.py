"""Settings of the service: one typed class, read once."""

from typing import Self

from pydantic import SecretStr, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """
    Read from the environment: PINLEDGER_DB, _SEED, _SECURE_COOKIE, _METRICS (/metrics), _ANCHORS, the _OPENID_ ones.

    `anchors` names a file or folder elsewhere that gets the chain's head once a day.
    `openid_issuer`, `openid_client` and `openid_secret` name an OpenID Connect provider; `openid_name` is what its
    button says. `openid_address` is where browsers reach this service.
    """

    model_config = SettingsConfigDict(env_prefix="PINLEDGER_", frozen=True)

    db: str = "pinledger.db"
    seed: int = 1
    secure_cookie: bool = True
    metrics: bool = False
    anchors: str = ""
    openid_name: str = ""
    openid_issuer: str = ""
    openid_client: str = ""
    openid_secret: SecretStr = SecretStr("")
    openid_address: str = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        """Refuse half a provider, and one that would be asked in the clear."""
        wanted = ("openid_issuer", "openid_client", "openid_secret", "openid_address")
        missing = [name for name in wanted if not getattr(self, name)]
        if self.openid_name and missing:
            raise ValueError(
                f"PINLEDGER_OPENID_NAME is set and {', '.join(missing)} not; set all of them or none"
            )
        if self.openid_name and not self.openid_issuer.startswith(
            ("https://", "http://127.0.0.1:", "http://localhost:")
        ):
            raise ValueError(
                f"openid_issuer {self.openid_issuer!r} is not reached by https; wanted https://..."
            )
        return self
