"""A person's browser that remembers everything that went wrong in it."""

from playwright.sync_api import Browser, Response

FROM_BAD = 400


class Watched:
    """A fresh browser context with one page. ``troubles`` is what no visit should leave behind:
    answers of 400 and above, exceptions in scripts, and errors in the console, such as
    something that the page's own policy refused."""

    def __init__(self, browser: Browser, **device) -> None:
        self.troubles: list[str] = []
        self.expected: set[int] = set()  # statuses that the visit is meant to meet
        self._context = browser.new_context(**device)
        self._context.on("response", self._answered)
        self._context.on("weberror", lambda error: self.troubles.append(str(error.error)))
        self._context.on("console", self._said)
        self.page = self._context.new_page()

    def close(self) -> None:
        self._context.close()

    def _answered(self, response: Response) -> None:
        if response.status >= FROM_BAD and response.status not in self.expected:
            self.troubles.append(f"{response.status} {response.request.method} {response.url}")

    def _said(self, message) -> None:
        # An answer of 400 and above is said here too; it was judged above.
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.troubles.append(f"{message.page.url if message.page else ''}: {message.text}")
