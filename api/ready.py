"""Is the service up, and is it ready: the database answers and has this program's schema."""

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError

from api.access import ANYBODY, need
from db import schema
from db.errors import SchemaError

router = APIRouter(dependencies=[need(ANYBODY)])


@router.get("/health")
def health() -> dict[str, str]:
    """The process answers."""
    return {"status": "up"}


@router.get("/ready")
def ready(request: Request) -> Response:
    """503 until the database can be reached and has the right schema; nothing of either is told."""
    try:
        schema.check(request.app.state.engine)
    except SchemaError:
        return JSONResponse({"status": "not ready", "wanting": "schema"}, 503)
    except SQLAlchemyError:
        return JSONResponse({"status": "not ready", "wanting": "database"}, 503)
    return JSONResponse({"status": "ready"})
