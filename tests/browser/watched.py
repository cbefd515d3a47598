"""A person's browser that remembers everything that went wrong in it."""

from playwright.sync_api import Browser, Response

WAIT_MS = 30_000
KEPT = "local_storage,indexeddb"


class Watched:
    """A fresh browser context with one page. ``troubles`` is what no visit should leave behind:
    answers from ``wrong_from`` on, exceptions in scripts, and errors in the console, such as
    something that the page's own policy refused."""

    def __init__(self, browser: Browser, wrong_from: int = 400, **device) -> None:
        self.troubles: list[str] = []
        self.expected: set[int] = set()  # statuses that the visit is meant to meet
        self._wrong_from = wrong_from
        self._context = browser.new_context(**device)
        self._context.on("response", self._answered)
        self._context.on("weberror", lambda error: self.troubles.append(str(error.error)))
        self._context.on("console", self._said)
        self._context.set_default_timeout(WAIT_MS)
        self.page = self._context.new_page()

    def close(self) -> None:
        self._context.close()

    def forget(self, url: str, session: str | None) -> None:
        """Lose what pages kept here, and be logged in by this session, or not at all."""
        cdp = self._context.new_cdp_session(self.page)
        cdp.send("Storage.clearDataForOrigin", {"origin": url, "storageTypes": KEPT})
        cdp.detach()
        self._context.clear_cookies()
        if session is not None:
            self._context.add_cookies([{"name": "session", "value": session, "url": url}])

    def _answered(self, response: Response) -> None:
        if response.status >= self._wrong_from and response.status not in self.expected:
            self.troubles.append(f"{response.status} {response.request.method} {response.url}")

    def _said(self, message) -> None:
        # An answer of 400 and above is said here too; it was judged above.
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.troubles.append(f"{message.page.url if message.page else ''}: {message.text}")
