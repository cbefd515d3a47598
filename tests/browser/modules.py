"""The desk's modules, called in the browser."""

import pytest


@pytest.fixture(scope="module")
def call(chromium, live_server):
    """Call a function of a module with JSON arguments. One window for all: the modules are pure."""
    page = chromium.new_page()
    page.goto(f"{live_server.url}/static/desk/keys.js")

    def call_it(module: str, function: str, *arguments):
        return page.evaluate(
            "([m, f, a]) => import(`/static/desk/${m}.js`).then((all) => all[f](...a))",
            [module, function, list(arguments)],
        )

    yield call_it
    page.close()
