"""One application a worker, laid on one ledger after another: to build its routes takes longer than most tests do."""

from api.app import make_app
from api.settings import Settings
from db.session import open_engine

BUILT = []


def app_on(url):
    """The application on this ledger. It leaves the ledger that it was on, so it is for one test at a time."""
    if not BUILT:
        BUILT.append(make_app(Settings(db=url, secure_cookie=False)))
        return BUILT[0]
    app = BUILT[0]
    app.state.engine.dispose()
    app.state.engine, app.state.settings = open_engine(url), Settings(db=url, secure_cookie=False)
    return app
