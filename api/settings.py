"""Settings of the service: one typed class, read once."""

from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Read from the environment: PINLEDGER_DB, PINLEDGER_SEED, PINLEDGER_SECURE_COOKIE."""

    model_config = SettingsConfigDict(env_prefix="PINLEDGER_", frozen=True)

    db: str = "pinledger.db"
    seed: int = 1
    secure_cookie: bool = True
