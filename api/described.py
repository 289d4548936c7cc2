"""
The JSON interface as OpenAPI describes it, for whoever writes a program against it.

The framework knows addresses, parameters and results. Added here is what it cannot know: how a refusal looks and which
ones to expect, the columns that a row of each kind may carry, and the ways to say who asks.
"""

from functools import lru_cache
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from api.deps import ORIGIN
from api.errors import Problem
from db.files import ENTERED, Column
from db.files.column import COUNT, DAY, LENGTH, MONTH, NUMBER, PAST_DAY, POSITIVE, QUANTITY, SIGNED

REFUSED: Final = (401, 403, 404, 409, 422, 503)
WRITE_REFUSED: Final = (400, 412, 428, 429, 507)
SAFE: Final = "get"
TEXT: Final = {"type": "string"}
DATE: Final = {**TEXT, "format": "date"}
# Cells that are more than text, by kind of column.
SHAPES: Final[dict[str, dict[str, Any]]] = {
    DAY: DATE,
    PAST_DAY: DATE,
    MONTH: {"type": "string", "pattern": "^[0-9]{4}-(0[1-9]|1[0-2])$"},
    COUNT: {"type": "integer", "minimum": 0},
    QUANTITY: {"type": "integer", "minimum": 1},
    NUMBER: {"type": "number", "minimum": 0},
    POSITIVE: {"type": "number", "exclusiveMinimum": 0},
    SIGNED: {"type": "number"},
    LENGTH: {"type": ["string", "number"], "pattern": r"^[0-9]{1,6}(\.[0-9]{1,5})?$", "minimum": 0},
}
PROBLEM: Final = "Problem"
WAYS_IN: Final = {
    "token": {"type": "http", "scheme": "bearer", "description": "an API token, made under Your account"},
}


@lru_cache(maxsize=1)
def described(app: FastAPI) -> dict[str, Any]:
    """The description of an application's JSON interface; made once, as it takes long and never changes."""
    told = get_openapi(title=app.title, version="1", routes=app.routes)
    schemas = told["components"]["schemas"]
    schemas[PROBLEM] = TypeAdapter(Problem).json_schema(ref_template="#/components/schemas/{model}")
    schemas |= {_of(kind): _row(kind) for kind in ENTERED}
    told["components"]["securitySchemes"] = WAYS_IN
    told["security"] = [{way: []} for way in WAYS_IN]
    for path, operations in told["paths"].items():
        for method, operation in operations.items():
            operation["responses"] |= _refusals(method)
            _name_origin(operation)
            _name_columns(path.rpartition("/")[2].replace("-", "_"), operation)
    # The framework's own refusals are not what is sent.
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    return told


def _refusals(method: str) -> dict[str, Any]:
    codes = REFUSED if method == SAFE else (*REFUSED, *WRITE_REFUSED)
    content = {"application/problem+json": {"schema": {"$ref": f"#/components/schemas/{PROBLEM}"}}}
    return {str(code): {"description": HTTPStatus(code).phrase, "content": content} for code in sorted(codes)}


def _name_origin(operation: dict[str, Any]) -> None:
    """Say in which headers a result names the study and the log that it comes from."""
    if "known_on" in {each["name"] for each in operation.get("parameters", ())}:
        told = {name: {"description": says, "schema": TEXT} for name, says in ORIGIN.items()}
        operation["responses"]["200"]["headers"] = told


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
        described_row["patternProperties"] = {
            "^pin_[1-9][0-9]?$": {"anyOf": [SHAPES[LENGTH], {"type": "null"}]}
        }
    return described_row


def _cell(column: Column) -> dict[str, Any]:
    """What is best put into a cell; the same as text is taken too, and blank or null is not known."""
    told = {"description": column.kind, **SHAPES.get(column.kind, TEXT)}
    if column.words:
        told = {"description": column.kind, "enum": list(column.words)}
    return told if column.required else {"anyOf": [told, {"type": "null"}]}
