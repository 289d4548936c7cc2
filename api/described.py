"""
The JSON interface as OpenAPI describes it, for whoever writes a program against it.

The framework knows addresses, parameters and results. Added here is what it cannot know: how a refusal looks and which
ones to expect, the columns that a row of each kind may carry, and the ways to say who asks.
"""

from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from api.errors import Problem
from db.files import ENTERED, Column
from db.files.column import DAYS, TEXTS, WORD

REFUSED: Final = (401, 403, 404, 409, 422, 503)
WRITE_REFUSED: Final = (400, 412, 428, 429, 507)
SAFE: Final = "get"
PROBLEM: Final = "Problem"
WAYS_IN: Final = {
    "token": {"type": "http", "scheme": "bearer", "description": "an API token, made under Your account"},
}


def described(app: FastAPI) -> dict[str, Any]:
    """The description of an application's JSON interface."""
    told = get_openapi(title=app.title, version="1", routes=app.routes)
    schemas = told["components"]["schemas"]
    schemas[PROBLEM] = TypeAdapter(Problem).json_schema(ref_template="#/components/schemas/{model}")
    schemas |= {_of(kind): _row(kind) for kind in ENTERED}
    told["components"]["securitySchemes"] = WAYS_IN
    told["security"] = [{way: []} for way in WAYS_IN]
    for path, operations in told["paths"].items():
        for method, operation in operations.items():
            operation["responses"] |= _refusals(method)
            _name_columns(path.rpartition("/")[2].replace("-", "_"), operation)
    # The framework's own refusals are not what is sent.
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    return told


def _refusals(method: str) -> dict[str, Any]:
    codes = REFUSED if method == SAFE else (*REFUSED, *WRITE_REFUSED)
    content = {"application/problem+json": {"schema": {"$ref": f"#/components/schemas/{PROBLEM}"}}}
    return {str(code): {"description": HTTPStatus(code).phrase, "content": content} for code in sorted(codes)}


def _name_columns(kind: str, operation: dict[str, Any]) -> None:
    """A row of this kind in place of a row of anything."""
    if kind in ENTERED and "requestBody" in operation:
        row = {"$ref": f"#/components/schemas/{_of(kind)}"}
        rows = {"type": "array", "items": row, "minItems": 1, "maxItems": 10_000}
        several = {"type": "object", "properties": {"rows": rows}, "required": ["rows"]}
        schema = {"anyOf": [row, {**several, "additionalProperties": False}]}
        operation["requestBody"]["content"]["application/json"]["schema"] = schema


def _of(kind: str) -> str:
    return f"row of {kind}".replace(" ", "_")


def _row(kind: str) -> dict[str, Any]:
    file = ENTERED[kind]
    described_row: dict[str, Any] = {
        "type": "object",
        "properties": {column.name: _cell(column) for column in file.columns},
        "required": [column.name for column in file.columns if column.required and not column.may_be_blank],
        "additionalProperties": False,
    }
    if kind == "pin_readings":
        described_row["patternProperties"] = {"^pin_[1-9][0-9]?$": {"type": ["string", "number", "null"]}}
    return described_row


def _cell(column: Column) -> dict[str, Any]:
    """What may stand in a cell; blank and null are not known."""
    told: dict[str, Any] = {"description": column.kind}
    if column.kind == WORD:
        return {**told, "enum": [*column.words, *([] if column.required else ["", None])]}
    if column.kind in DAYS:
        return {**told, "type": ["string", "null"], "examples": ["2026-03-14"]}
    return {**told, "type": ["string", "null"] if column.kind in TEXTS else ["string", "number", "null"]}
